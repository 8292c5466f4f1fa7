//! The line between a server and its database: cut again and again, silent for a while, and silent until the server gives
//! up. What was acknowledged is there, what was not is carried out once, and the server goes on by itself.

use std::time::{Duration, Instant};

use super::cluster::Cluster;
use super::crash::{County, under_load, wait_well};
use super::line::Line;
use crate::load::random;
use crate::served::Server;

#[test]
fn what_was_acknowledged_survives_a_line_that_is_cut_and_one_that_falls_silent() {
    let cluster = Cluster::shared();
    let county = County::begin(cluster);
    let line = Line::to(cluster.port());
    let database = county.address.replace(
        &format!(":{}/", cluster.port()),
        &format!(":{}/", line.port),
    );
    let server = Server::start_on("serve", &county.site.folder, Some(&database));
    let addresses = [server.address.clone()];
    let mut clients = county.yard.clients(&server.address);
    for client in &mut clients {
        client.faults = true;
    }
    for round in 0..8 {
        std::thread::scope(|scope| {
            for client in &mut clients {
                scope.spawn(|| client.run(&addresses));
            }
            std::thread::sleep(Duration::from_millis(150 + random(400)));
            if round % 2 == 0 {
                line.cut();
            } else {
                // Shorter than anybody's patience: everything goes on where it was; or cut in the silence.
                line.silent(true);
                std::thread::sleep(Duration::from_millis(1500));
                if round % 4 == 3 {
                    line.cut();
                }
                line.silent(false);
            }
        });
        wait_well(&addresses);
        for client in &mut clients {
            client.look(&server.address);
        }
    }
    county.check(&clients);
    under_load(&clients);

    // Silent for good: the server gives the connections up by itself, and works again when new ones come through.
    std::thread::scope(|scope| {
        for client in &mut clients {
            scope.spawn(|| client.run(&addresses));
        }
        std::thread::sleep(Duration::from_millis(300));
        line.silent(true);
        std::thread::sleep(Duration::from_secs(50));
        line.forget();
        line.silent(false);
    });
    let begun = Instant::now();
    wait_well(&addresses);
    assert!(begun.elapsed() < Duration::from_secs(50));
    for client in &mut clients {
        client.look(&server.address);
    }
    county.check(&clients);
}
