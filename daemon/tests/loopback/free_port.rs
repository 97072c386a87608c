//! Ports to be named before anybody listens there.

use std::net::TcpListener;
use std::ops::Range;
use std::sync::OnceLock;
use std::sync::atomic::{AtomicU32, Ordering};

/// Below those that systems give to whoever asks for any port (Linux from 32768, IANA's own from 49152), so that
/// nobody gets one by chance before it is used.
const PORTS: Range<u32> = 10_000..32_000;
/// Test programs that run at the same time have different numbers, and begin so far from each other.
const APART: u32 = 101;

/// A port of this machine on which nothing listens, and which nobody else in this process was given.
pub fn free_port() -> u16 {
    static NEXT: OnceLock<AtomicU32> = OnceLock::new();
    let next = NEXT.get_or_init(|| AtomicU32::new(std::process::id().wrapping_mul(APART)));
    PORTS
        .map(|_| {
            let turn = next.fetch_add(1, Ordering::Relaxed) % PORTS.len() as u32;
            (PORTS.start + turn) as u16
        })
        .find(|&port| TcpListener::bind(("127.0.0.1", port)).is_ok())
        .expect("one of so many ports is free")
}
