//! The connection to the database by TLS (www.postgresql.org/docs/current/libpq-ssl.html: what each sslmode promises).

use std::fs;
use std::path::Path;

use liftledger::app::site::Site;
use liftledger::store::{Address, PostgresStore, Reads as _, Store as _};
use sqlx::Connection as _;

use super::cluster::{Cluster, PASSWORD};
use crate::load::Yard;
use crate::served::Server;
use crate::tls::{authority, certificate, certificate_for};

/// How many of the ledger's sessions are encrypted, and how many are not.
async fn sessions(cluster: &Cluster, database: &str) -> (i64, i64) {
    let mut raw = cluster.raw(database).await;
    let sql = "SELECT count(*) FILTER (WHERE s.ssl), count(*) FILTER (WHERE NOT s.ssl) FROM pg_stat_ssl s \
               JOIN pg_stat_activity a USING (pid) WHERE a.datname = current_database() AND application_name = 'liftledger'";
    let counts = sqlx::query_as(sql).fetch_one(&mut raw).await.unwrap();
    raw.close().await.unwrap();
    counts
}

#[test]
fn a_database_is_reached_by_tls_and_only_the_right_one() {
    let dir = tempfile::tempdir().unwrap();
    let folder = dir.path();
    authority(folder);
    certificate(folder, "one", "0x1001");
    let other = folder.join("other");
    fs::create_dir(&other).unwrap();
    authority(&other);

    let cluster = Cluster::start();
    let runtime = tokio::runtime::Runtime::new().unwrap();
    let database = runtime.block_on(async {
        for (name, from, setting) in [
            ("server.pem", "one.pem", "ssl_cert_file"),
            ("server-key.pem", "one-key.pem", "ssl_key_file"),
        ] {
            let at = cluster.keep_file(name, &fs::read(folder.join(from)).unwrap());
            let sql = format!("ALTER SYSTEM SET {setting} = '{}'", at.display());
            cluster.sql("postgres", &sql).await;
        }
        cluster.sql("postgres", "ALTER SYSTEM SET ssl = on").await;
        cluster.sql("postgres", "SELECT pg_reload_conf()").await;
        cluster.database().await
    });
    let plain = cluster.address(&database);
    let by = |mode: &str, trusted: &Path| {
        let ca = trusted.join("ca.pem");
        format!("{plain}?sslmode={mode}&sslrootcert={}", ca.display())
    };
    let full = by("verify-full", folder);
    // The server looks at its settings a moment after it was told.
    let site = Site {
        folder: folder.join("ledger"),
        database: Some(full.parse().unwrap()),
        originals: None,
    };
    let opened = async |text: &str| {
        let address: Address = text.parse().unwrap();
        PostgresStore::open(&address).await
    };
    runtime.block_on(async {
        for _ in 0..50 {
            if opened(&full).await.is_ok() {
                return;
            }
            tokio::time::sleep(std::time::Duration::from_millis(100)).await;
        }
        panic!("{:?}", opened(&full).await.err());
    });
    let yard = runtime.block_on(Yard::begin(&site));
    let server = Server::start_on("serve", &site.folder, Some(&full));
    let mut clients = yard.clients(&server.address);
    clients[0].run(std::slice::from_ref(&server.address));
    let (encrypted, open) = runtime.block_on(sessions(&cluster, &database));
    assert!(encrypted >= 2 && open == 0, "{encrypted}, {open}");
    drop(server);

    runtime.block_on(async {
        // Another authority did not vouch for it.
        for bad in [by("verify-full", &other), by("verify-ca", &other)] {
            let Err(error) = opened(&bad).await else {
                panic!("{bad}")
            };
            let error = error.to_string();
            assert!(!error.contains(PASSWORD), "{error}");
        }
        // Whoever says nothing has it encrypted where the database offers it.
        let store = opened(&plain).await.unwrap();
        store.head().await.unwrap();
        let (encrypted, open) = sessions(&cluster, &database).await;
        assert!(encrypted >= 1 && open == 0, "{encrypted}, {open}");
        yard.audit(&store).await;
        store.close().await;
        // A certificate for another name.
        certificate_for(folder, "two", "0x1002", "DNS:elsewhere.invalid");
        for (name, from) in [("server.pem", "two.pem"), ("server-key.pem", "two-key.pem")] {
            cluster.keep_file(name, &fs::read(folder.join(from)).unwrap());
        }
        cluster.sql("postgres", "SELECT pg_reload_conf()").await;
        tokio::time::sleep(std::time::Duration::from_secs(1)).await;
        assert!(opened(&full).await.is_err());
        opened(&by("verify-ca", folder))
            .await
            .unwrap()
            .close()
            .await;
        // A database that has no TLS is not reached by those who ask for it.
        cluster.sql("postgres", "ALTER SYSTEM SET ssl = off").await;
        cluster.sql("postgres", "SELECT pg_reload_conf()").await;
        for _ in 0..50 {
            if opened(&full).await.is_err() {
                return;
            }
            tokio::time::sleep(std::time::Duration::from_millis(100)).await;
        }
        panic!("still encrypted");
    });
}
