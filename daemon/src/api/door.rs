//! Accepting connections, not too many and none for good.

use std::time::Duration;

use axum::Router;
use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::net::{TcpListener, TcpStream};
use tokio::task::JoinSet;
use tokio::time::{sleep, timeout};
use tokio_rustls::TlsAcceptor;
use tokio_util::sync::CancellationToken;

use super::Limits;
use super::wire::Impatient;

/// The largest head of a request, in bytes.
const HEAD_BYTES: usize = 16 * 1024;
/// Answers on their way may take so long after the stop.
const LAST_WORDS: Duration = Duration::from_secs(2);
/// After an accept that failed, such as for want of file handles.
const BREATH: Duration = Duration::from_millis(100);
/// What one connection too many is told.
const FULL: &[u8] = b"HTTP/1.1 503 Service Unavailable\r\ncontent-type: application/json\r\n\
    connection: close\r\ncontent-length: 68\r\n\r\n\
    {\"error\":\"there are too many connections; close some, or ask later\"}";

/// Accepts connections until `stop`; returns when the last has ended.
pub(super) async fn open(
    listener: TcpListener,
    tls: Option<TlsAcceptor>,
    router: Router,
    limits: Limits,
    stop: CancellationToken,
) {
    let mut connections = JoinSet::new();
    loop {
        let accepted = tokio::select! {
            biased;
            () = stop.cancelled() => break,
            Some(_) = connections.join_next(), if !connections.is_empty() => continue,
            accepted = listener.accept() => accepted,
        };
        match accepted {
            Ok((stream, _)) if connections.len() >= limits.connections => {
                turn_away(stream, tls.is_some()).await;
            }
            Ok((stream, _)) => {
                let (tls, router, stop) = (tls.clone(), router.clone(), stop.clone());
                connections.spawn(greet(stream, tls, router, limits, stop));
            }
            Err(error) => {
                tracing::warn!("a connection could not be accepted ({error})");
                sleep(BREATH).await;
            }
        }
    }
    drop((listener, router));
    let rest = async { while connections.join_next().await.is_some() {} };
    if timeout(LAST_WORDS, rest).await.is_err() {
        connections.shutdown().await;
    }
}

/// One too many: it is told so, if that costs no waiting.
async fn turn_away(stream: TcpStream, has_tls: bool) {
    if !has_tls && stream.writable().await.is_ok() {
        // If it cannot be told, it sees the connection end.
        let _ = stream.try_write(FULL);
    }
}

async fn greet(
    stream: TcpStream,
    tls: Option<TlsAcceptor>,
    router: Router,
    limits: Limits,
    stop: CancellationToken,
) {
    // News come in small pieces, and none may wait until the one before it is acknowledged (RFC 896). A connection
    // that is gone already shows itself when it is read.
    if let Err(error) = stream.set_nodelay(true) {
        tracing::debug!("a connection will be told in larger pieces ({error})");
    }
    let Some(tls) = tls else {
        return answer(stream, router, limits, stop).await;
    };
    match timeout(limits.head, tls.accept(stream)).await {
        Ok(Ok(stream)) => answer(stream, router, limits, stop).await,
        Ok(Err(error)) => tracing::debug!("a connection spoke no TLS ({error})"),
        Err(_) => tracing::debug!("a connection took too long to greet"),
    }
}

async fn answer<S: AsyncRead + AsyncWrite + Unpin + Send + 'static>(
    stream: S,
    router: Router,
    limits: Limits,
    stop: CancellationToken,
) {
    let stream = TokioIo::new(Impatient::new(stream, limits.write));
    let connection = http1::Builder::new()
        .timer(TokioTimer::new())
        .header_read_timeout(limits.head)
        .max_buf_size(HEAD_BYTES)
        .serve_connection(stream, TowerToHyperService::new(router));
    tokio::pin!(connection);
    let ended = tokio::select! {
        ended = connection.as_mut() => ended,
        () = stop.cancelled() => {
            connection.as_mut().graceful_shutdown();
            connection.await
        }
    };
    if let Err(error) = ended {
        tracing::debug!("a connection ended early ({error})");
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_one_too_many_is_told_is_an_answer_of_its_length() {
        let text = std::str::from_utf8(FULL).unwrap();
        let (head, body) = text.split_once("\r\n\r\n").unwrap();
        assert!(head.contains(&format!("content-length: {}", body.len())));
        let body: super::super::refusal::ErrorBody = serde_json::from_str(body).unwrap();
        assert!(body.error.starts_with("there are too many connections"));
    }
}
