//! A relay between source and broker that cuts connections where it is told to.

use std::sync::Arc;
use std::sync::Mutex;

use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::{TcpListener, TcpStream};

/// After how many bytes each way a connection is cut; `None` never.
#[derive(Debug, Clone, Copy, Default)]
pub struct Cut {
    pub to_broker: Option<usize>,
    pub to_source: Option<usize>,
}

/// Connections to its port go on to the broker's. Each takes the next cut of the list.
pub struct Relay {
    pub port: u16,
    pub cuts: Arc<Mutex<Vec<Cut>>>,
}

impl Relay {
    pub async fn start(broker: u16, cuts: Vec<Cut>) -> Relay {
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let port = listener.local_addr().unwrap().port();
        let cuts = Arc::new(Mutex::new(cuts));
        let list = Arc::clone(&cuts);
        tokio::spawn(async move {
            while let Ok((source, _)) = listener.accept().await {
                let cut = list.lock().unwrap().pop().unwrap_or_default();
                // The broker may be away just now.
                if let Ok(broker) = TcpStream::connect(("127.0.0.1", broker)).await {
                    tokio::spawn(relay(source, broker, cut));
                }
            }
        });
        Relay { port, cuts }
    }
}

async fn relay(mut source: TcpStream, mut broker: TcpStream, cut: Cut) {
    let (mut from_source, mut to_source) = source.split();
    let (mut from_broker, mut to_broker) = broker.split();
    // Where one way is cut, both end.
    tokio::select! {
        () = pass(&mut from_source, &mut to_broker, cut.to_broker) => {}
        () = pass(&mut from_broker, &mut to_source, cut.to_source) => {}
    }
}

async fn pass(
    from: &mut (impl AsyncReadExt + Unpin),
    to: &mut (impl AsyncWriteExt + Unpin),
    most: Option<usize>,
) {
    let (mut passed, mut bytes) = (0, [0; 512]);
    while let Ok(count @ 1..) = from.read(&mut bytes).await {
        let left = most.map_or(count, |most| most - passed);
        if to.write_all(&bytes[..count.min(left)]).await.is_err() || count >= left && most.is_some()
        {
            return;
        }
        passed += count;
    }
}
