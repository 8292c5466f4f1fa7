//! A line between a server and its database that can be cut, or fall silent.

use std::io::{Read as _, Write as _};
use std::net::{Shutdown, SocketAddr, TcpListener, TcpStream};
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Mutex};
use std::time::Duration;

/// A line on loopback that can be cut, or take everything and hand on nothing.
pub struct Line {
    pub port: u16,
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
    /// Whether a connection falls silent for ever once it is asked whether it still answers.
    deaf: AtomicBool,
}

/// PostgreSQL's Sync message and nothing else: how sqlx asks whether a connection still answers.
const ASKED: [u8; 5] = [b'S', 0, 0, 0, 4];

/// Hands on what comes, as long as the line is not silent.
fn hand_on(mut from: TcpStream, mut to: TcpStream, state: &State, number: u64) {
    let mut buffer = vec![0; 16 * 1024];
    while let Ok(n) = from.read(&mut buffer) {
        if n == 0 {
            break;
        }
        while state.deaf.load(Ordering::SeqCst) && buffer[..n] == ASKED {
            std::thread::sleep(Duration::from_millis(20));
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
    pub fn to(port: u16) -> Self {
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

    pub fn cut(&self) {
        for end in self.open.lock().unwrap().drain(..) {
            let _ = end.shutdown(Shutdown::Both);
        }
    }

    pub fn silent(&self, is: bool) {
        self.state.silent.store(is, Ordering::SeqCst);
    }

    /// From now on a connection that is asked whether it still answers does not.
    pub fn deaf(&self, is: bool) {
        self.state.deaf.store(is, Ordering::SeqCst);
    }

    /// What is open now stays silent for ever, as behind a wall that forgot it.
    pub fn forget(&self) {
        let count = self.state.count.load(Ordering::SeqCst);
        self.state.forgotten.store(count, Ordering::SeqCst);
    }
}
