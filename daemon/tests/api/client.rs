//! A client that says exactly what it is told to say, and holds every answer against the description.

use std::collections::BTreeSet;
use std::net::SocketAddr;
use std::sync::{Arc, Mutex};
use std::time::Duration;

use serde_json::{Value, json};
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;
use tokio::time::timeout;

/// Nothing here takes that long.
pub const PATIENCE: Duration = Duration::from_secs(180);

/// An answer.
#[derive(Debug, Clone, PartialEq)]
pub struct Answer {
    pub status: u16,
    pub head: String,
    pub body: Value,
}

impl Answer {
    /// The sentence of a refusal.
    pub fn error(&self) -> &str {
        self.body["error"].as_str().unwrap_or_default()
    }
}

/// What is sent.
#[derive(Debug, Clone)]
pub struct Request {
    pub method: String,
    pub path: String,
    pub headers: Vec<(String, String)>,
    pub body: Option<Vec<u8>>,
}

/// See the module.
#[derive(Clone)]
pub struct Client {
    pub address: SocketAddr,
    pub token: String,
    document: Arc<Mutex<Option<Value>>>,
    /// What was answered well: method and path as they are described.
    pub done: Arc<Mutex<BTreeSet<(String, String)>>>,
}

impl Client {
    pub fn new(address: SocketAddr, token: &str) -> Client {
        Client {
            address,
            token: token.to_owned(),
            document: Arc::default(),
            done: Arc::default(),
        }
    }

    /// A request as it should be.
    pub fn request(&self, method: &str, path: &str, body: Option<&Value>) -> Request {
        let mut headers = vec![
            ("Host".to_owned(), self.address.to_string()),
            ("Connection".to_owned(), "close".to_owned()),
        ];
        if body.is_some() {
            headers.push(("Authorization".to_owned(), format!("Bearer {}", self.token)));
            headers.push(("Content-Type".to_owned(), "application/json".to_owned()));
        }
        Request {
            method: method.to_owned(),
            path: path.to_owned(),
            headers,
            body: body.map(|body| body.to_string().into_bytes()),
        }
    }

    pub async fn get(&self, path: &str) -> Answer {
        self.send(&self.request("GET", path, None)).await
    }

    pub async fn post(&self, path: &str, body: Value) -> Answer {
        self.send(&self.request("POST", path, Some(&body))).await
    }

    /// What has to go well.
    pub async fn good(&self, path: &str) -> Value {
        let answer = self.get(path).await;
        assert_eq!(answer.status, 200, "{path}: {answer:?}");
        answer.body
    }

    /// What has to be done.
    pub async fn done(&self, path: &str, body: Value) -> Value {
        let answer = self.post(path, body).await;
        assert!(matches!(answer.status, 200 | 201), "{path}: {answer:?}");
        answer.body
    }

    /// Sends, and holds the answer against the description.
    pub async fn send(&self, request: &Request) -> Answer {
        let answer = exchange(self.address, request).await;
        self.hold_against_description(request, &answer).await;
        answer
    }

    /// The description.
    pub async fn document(&self) -> Value {
        if let Some(document) = self.document.lock().unwrap().clone() {
            return document;
        }
        let request = self.request("GET", "/api/openapi.json", None);
        let answer = exchange(self.address, &request).await;
        assert_eq!(answer.status, 200);
        *self.document.lock().unwrap() = Some(answer.body.clone());
        answer.body
    }

    async fn hold_against_description(&self, request: &Request, answer: &Answer) {
        let document = self.document().await;
        let method = request.method.to_lowercase();
        let Some(path) = described_path(&document, &request.path) else {
            assert!(
                !matches!(answer.status, 200..=299),
                "{request:?} is not described"
            );
            return;
        };
        let operation = &document["paths"][path][&method];
        if operation.is_null() {
            assert_eq!(answer.status, 405, "{request:?} is not described");
            return;
        }
        let described = &operation["responses"][answer.status.to_string()];
        assert!(
            !described.is_null(),
            "{request:?}: {answer:?} is not described"
        );
        let schema = &described["content"]["application/json"]["schema"];
        validate(&document, schema, &answer.body);
        if let (Some(body), 200..=299) = (&request.body, answer.status) {
            let schema = &operation["requestBody"]["content"]["application/json"]["schema"];
            validate(&document, schema, &serde_json::from_slice(body).unwrap());
        }
        if matches!(answer.status, 200..=299) {
            let done = (method, path.to_owned());
            self.done.lock().unwrap().insert(done);
        }
    }
}

/// Holds JSON against a schema of the description.
pub fn validate(document: &Value, schema: &Value, instance: &Value) {
    assert!(!schema.is_null(), "no schema for {instance}");
    let schema = json!({ "allOf": [schema], "components": document["components"] });
    let validator = jsonschema::draft202012::new(&schema).unwrap();
    let errors: Vec<String> = validator
        .iter_errors(instance)
        .map(|error| format!("{}: {error}", error.instance_path()))
        .collect();
    assert!(errors.is_empty(), "{errors:#?}\n{instance:#}");
}

/// The path of the description that a path is one of.
fn described_path<'a>(document: &'a Value, path: &str) -> Option<&'a str> {
    let path = path.split('?').next().unwrap_or_default();
    let same = |template: &&String| {
        let (mut own, mut other) = (template.split('/'), path.split('/'));
        loop {
            match (own.next(), other.next()) {
                (None, None) => return true,
                (Some(own), Some(other)) if own == other || own.starts_with('{') => {}
                _ => return false,
            }
        }
    };
    let paths = document["paths"].as_object().unwrap();
    paths.keys().find(same).map(String::as_str)
}

/// Sends bytes on a connection of their own, and reads all that comes back.
pub async fn exchange(address: SocketAddr, request: &Request) -> Answer {
    let mut stream = TcpStream::connect(address).await.unwrap();
    let mut bytes = format!("{} {} HTTP/1.1\r\n", request.method, request.path);
    for (name, value) in &request.headers {
        bytes += &format!("{name}: {value}\r\n");
    }
    if let Some(body) = &request.body {
        bytes += &format!("Content-Length: {}\r\n", body.len());
    }
    bytes += "\r\n";
    let mut bytes = bytes.into_bytes();
    bytes.extend(request.body.iter().flatten());
    // A refusal may come before all is sent.
    let _ = stream.write_all(&bytes).await;
    answer(&mut stream).await
}

/// Reads an answer to the end of the connection.
pub async fn answer(stream: &mut TcpStream) -> Answer {
    let mut bytes = Vec::new();
    let mut piece = [0; 4096];
    loop {
        match timeout(PATIENCE, stream.read(&mut piece))
            .await
            .expect("an answer")
        {
            Ok(0) => break,
            Ok(count) => bytes.extend(&piece[..count]),
            Err(_) if !bytes.is_empty() => break,
            Err(error) => panic!("{error}"),
        }
    }
    let text = String::from_utf8(bytes).unwrap();
    let (head, body) = text.split_once("\r\n\r\n").unwrap_or((&text, ""));
    let status = head.split(' ').nth(1).and_then(|word| word.parse().ok());
    Answer {
        status: status.unwrap_or_else(|| panic!("{text:?} is no answer")),
        head: head.to_lowercase(),
        body: serde_json::from_str(body).unwrap_or(Value::Null),
    }
}
