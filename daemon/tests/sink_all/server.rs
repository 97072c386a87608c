//! An HTTP server that takes what is posted to it, or misbehaves as it is told.

use std::sync::{Arc, Mutex};

use axum::Router;
use axum::body::Bytes;
use axum::extract::State;
use axum::http::{HeaderMap, StatusCode, Uri};
use axum::response::{IntoResponse, Response};
use tokio::net::TcpListener;
use tokio::task::JoinHandle;

/// Something that was posted.
#[derive(Debug, Clone)]
pub struct Posted {
    pub uri: Uri,
    pub headers: HeaderMap,
    pub body: Bytes,
    /// How it was answered; `None` where it never was.
    pub answer: Option<u16>,
}

impl Posted {
    pub fn header(&self, name: &str) -> &str {
        self.headers
            .get(name)
            .map_or("", |value| value.to_str().unwrap())
    }

    pub fn json(&self) -> serde_json::Value {
        serde_json::from_slice(&self.body).unwrap()
    }
}

/// How a post is answered.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Answer {
    /// With this status.
    Status(u16),
    /// With this status, and the wish to be left alone for so many seconds.
    Later(u16, u64),
    /// Never, though the post is taken in.
    Never,
}

type Behaviour = Box<dyn FnMut(&Posted) -> Answer + Send>;

struct Shared {
    posted: Mutex<Vec<Posted>>,
    behaviour: Mutex<Behaviour>,
}

/// A server; it ends with the test.
pub struct Server {
    pub port: u16,
    shared: Arc<Shared>,
    task: JoinHandle<()>,
}

impl Server {
    /// One that takes everything.
    pub async fn start() -> Server {
        Server::at(0, |_| Answer::Status(204)).await
    }

    /// One that behaves so.
    pub async fn that(behaviour: impl FnMut(&Posted) -> Answer + Send + 'static) -> Server {
        Server::at(0, behaviour).await
    }

    /// The same on a port.
    pub async fn at(
        port: u16,
        behaviour: impl FnMut(&Posted) -> Answer + Send + 'static,
    ) -> Server {
        let shared = Arc::new(Shared {
            posted: Mutex::default(),
            behaviour: Mutex::new(Box::new(behaviour)),
        });
        let listener = TcpListener::bind(("127.0.0.1", port)).await.unwrap();
        let port = listener.local_addr().unwrap().port();
        let router = Router::new().fallback(take).with_state(Arc::clone(&shared));
        let task = tokio::spawn(async move { axum::serve(listener, router).await.unwrap() });
        Server { port, shared, task }
    }

    /// Everything that was posted until now.
    pub fn posted(&self) -> Vec<Posted> {
        self.shared.posted.lock().unwrap().clone()
    }

    /// What was posted and taken.
    pub fn taken(&self) -> Vec<Posted> {
        let mut posted = self.posted();
        posted.retain(|posted| posted.answer.is_some_and(|status| status < 300));
        posted
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        self.task.abort();
    }
}

async fn take(
    State(shared): State<Arc<Shared>>,
    uri: Uri,
    headers: HeaderMap,
    body: Bytes,
) -> Response {
    let mut posted = Posted {
        uri,
        headers,
        body,
        answer: None,
    };
    let answer = (shared.behaviour.lock().unwrap())(&posted);
    posted.answer = match answer {
        Answer::Status(status) | Answer::Later(status, _) => Some(status),
        Answer::Never => None,
    };
    shared.posted.lock().unwrap().push(posted);
    let status = |status| StatusCode::from_u16(status).unwrap();
    match answer {
        Answer::Status(code) => (status(code), "as the test wants it").into_response(),
        Answer::Later(code, seconds) => {
            (status(code), [("retry-after", seconds.to_string())]).into_response()
        }
        Answer::Never => std::future::pending().await,
    }
}
