//! The line between a server and its database: cut again and again, silent for a while, and silent until the server gives
//! up. What was acknowledged is there, what was not is carried out once, and the server goes on by itself.

use std::io::{Read as _, Write as _};
use std::net::{Shutdown, SocketAddr, TcpListener, TcpStream};
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use super::cluster::Cluster;
use super::crash::{County, under_load, wait_well};
use crate::load::random;
use crate::served::Server;

/// A line on loopback that can be cut, or take everything and hand on nothing.
struct Line {
    port: u16,
    state: Arc<State>,
    open: Arc<Mutex<Vec<TcpStream>>>,
}

#[derive(Default)]
struct State {
    silent: AtomicBool,
    /// How many connections there were.
    count: AtomicU64,
    /// Those below this number are silent for ever.
    forgotten: AtomicU64,
}

/// Hands on what comes, as long as the line is not silent.
fn hand_on(mut from: TcpStream, mut to: TcpStream, state: &State, number: u64) {
    let mut buffer = vec![0; 16 * 1024];
    while let Ok(n) = from.read(&mut buffer) {
        if n == 0 {
            break;
        }
        while state.silent.load(Ordering::SeqCst) || number < state.forgotten.load(Ordering::SeqCst)
        {
            std::thread::sleep(Duration::from_millis(20));
        }
        if to.write_all(&buffer[..n]).is_err() {
            break;
        }
    }
    let _ = from.shutdown(Shutdown::Both);
    let _ = to.shutdown(Shutdown::Both);
}

impl Line {
    fn to(port: u16) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let line = Self {
            port: listener.local_addr().unwrap().port(),
            state: Arc::default(),
            open: Arc::default(),
        };
        let (state, open) = (line.state.clone(), line.open.clone());
        // Ends with the test process; it holds nothing that matters.
        std::thread::spawn(move || {
            for near in listener.incoming().flatten() {
                let Ok(far) = TcpStream::connect(SocketAddr::from(([127, 0, 0, 1], port))) else {
                    continue;
                };
                let number = state.count.fetch_add(1, Ordering::SeqCst);
                let ends = [&near, &far].map(|s| s.try_clone().unwrap());
                open.lock().unwrap().extend(ends);
                for (from, to) in [
                    (near.try_clone().unwrap(), far.try_clone().unwrap()),
                    (far, near),
                ] {
                    let state = state.clone();
                    std::thread::spawn(move || hand_on(from, to, &state, number));
                }
            }
        });
        line
    }

    fn cut(&self) {
        for end in self.open.lock().unwrap().drain(..) {
            let _ = end.shutdown(Shutdown::Both);
        }
    }

    fn silent(&self, is: bool) {
        self.state.silent.store(is, Ordering::SeqCst);
    }

    /// What is open now stays silent for ever, as behind a wall that forgot it.
    fn forget(&self) {
        let count = self.state.count.load(Ordering::SeqCst);
        self.state.forgotten.store(count, Ordering::SeqCst);
    }
}

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
