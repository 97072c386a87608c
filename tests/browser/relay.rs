//! A wire between browser and daemon that can be cut.

use std::net::{Shutdown, SocketAddr, TcpListener, TcpStream};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};
use std::thread;

/// Hands on what comes, as long as it is whole.
pub struct Relay {
    /// Where it listens.
    pub address: SocketAddr,
    is_cut: Arc<AtomicBool>,
    open: Arc<Mutex<Vec<TcpStream>>>,
    to: Arc<Mutex<Option<SocketAddr>>>,
}

impl Relay {
    /// Listens, with nobody on the other side yet.
    pub fn start() -> Relay {
        let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
        let relay = Relay {
            address: listener.local_addr().expect("its address"),
            is_cut: Arc::default(),
            open: Arc::default(),
            to: Arc::default(),
        };
        let (is_cut, open, to) = (relay.is_cut.clone(), relay.open.clone(), relay.to.clone());
        thread::spawn(move || {
            for near in listener.incoming().flatten() {
                let to = *to.lock().expect("whole");
                let far = to.filter(|_| !is_cut.load(Ordering::SeqCst));
                let Some(Ok(far)) = far.map(TcpStream::connect) else {
                    continue;
                };
                let pairs = [
                    (near.try_clone(), far.try_clone()),
                    (far.try_clone(), near.try_clone()),
                ];
                open.lock().expect("whole").extend([near, far]);
                for (from, to) in pairs {
                    let (Ok(mut from), Ok(mut to)) = (from, to) else {
                        continue;
                    };
                    thread::spawn(move || {
                        let _ = std::io::copy(&mut from, &mut to);
                        let _ = to.shutdown(Shutdown::Both);
                    });
                }
            }
        });
        relay
    }

    /// Whose wire it is.
    pub fn leads_to(&self, address: SocketAddr) {
        *self.to.lock().expect("whole") = Some(address);
    }

    /// Cuts it: what is open ends, and nothing new is taken.
    pub fn cut(&self) {
        self.is_cut.store(true, Ordering::SeqCst);
        for stream in self.open.lock().expect("whole").drain(..) {
            let _ = stream.shutdown(Shutdown::Both);
        }
    }

    /// Joins it again.
    pub fn join(&self) {
        self.is_cut.store(false, Ordering::SeqCst);
    }
}
