//! Why a request is not done: a status code, and a sentence for people.

use axum::Json;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::anew::NotAnew;
use crate::journal::{OpenError, ReadError};
use crate::keeper::Refused;
use crate::shift::AskError;

/// The body of every answer that is not what was asked for.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct ErrorBody {
    /// What is wrong and what to do, in a sentence.
    pub error: String,
}

/// A request that is refused.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Refusal {
    /// How programs know it.
    pub status: StatusCode,
    /// What is wrong and what to do.
    pub sentence: String,
}

impl Refusal {
    /// Of a status.
    pub fn new(status: StatusCode, sentence: impl Into<String>) -> Refusal {
        Refusal {
            status,
            sentence: sentence.into(),
        }
    }

    /// What was sent is wrong in itself.
    pub fn wrong(sentence: impl Into<String>) -> Refusal {
        Refusal::new(StatusCode::BAD_REQUEST, sentence)
    }

    /// There is no such thing.
    pub fn absent(sentence: impl Into<String>) -> Refusal {
        Refusal::new(StatusCode::NOT_FOUND, sentence)
    }

    /// It cannot be, as things are.
    pub fn conflict(sentence: impl Into<String>) -> Refusal {
        Refusal::new(StatusCode::CONFLICT, sentence)
    }

    /// Not now.
    pub fn not_now(sentence: impl Into<String>) -> Refusal {
        Refusal::new(StatusCode::SERVICE_UNAVAILABLE, sentence)
    }

    /// Something of the daemon's own has failed.
    pub fn broken(sentence: impl Into<String>) -> Refusal {
        Refusal::new(StatusCode::INTERNAL_SERVER_ERROR, sentence)
    }
}

impl IntoResponse for Refusal {
    fn into_response(self) -> Response {
        let error = self.sentence;
        (self.status, Json(ErrorBody { error })).into_response()
    }
}

impl From<Refused> for Refusal {
    fn from(refused: Refused) -> Refusal {
        let sentence = refused.to_string();
        match refused {
            Refused::NoStation { .. }
            | Refused::NoProbe { .. }
            | Refused::NotInLibrary(_)
            | Refused::NoGel { .. }
            | Refused::Empty { .. }
            | Refused::Senseless { .. } => Refusal::wrong(sentence),
            Refused::NoBatch { .. } | Refused::NoAlarm { .. } => Refusal::absent(sentence),
            _ => Refusal::conflict(sentence),
        }
    }
}

impl From<AskError> for Refusal {
    fn from(error: AskError) -> Refusal {
        match error {
            AskError::Refused(refused) => refused.into(),
            AskError::NotNow => Refusal::not_now(error.to_string()),
        }
    }
}

impl From<ReadError> for Refusal {
    fn from(error: ReadError) -> Refusal {
        Refusal::broken(error.to_string())
    }
}

impl From<OpenError> for Refusal {
    fn from(error: OpenError) -> Refusal {
        Refusal::broken(error.to_string())
    }
}

impl From<NotAnew> for Refusal {
    fn from(error: NotAnew) -> Refusal {
        match error {
            NotAnew::Read(error) => error.into(),
            NotAnew::NoLaws { .. } => Refusal::broken(error.to_string()),
            _ => Refusal::conflict(error.to_string()),
        }
    }
}
