//! The whole report of a day, as a page to read and to print, and as files to take along.
//!
//! It is the same that `inkdwell report` writes. Its page carries its own style; what a browser may do with it is that
//! style, told by its digest, and nothing else.

use std::sync::Arc;

use axum::extract::{Path, State};
use axum::http::HeaderMap;
use axum::http::header::{CONTENT_DISPOSITION, CONTENT_SECURITY_POLICY, CONTENT_TYPE, HeaderValue};
use axum::response::{IntoResponse, Response};
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use sha2::{Digest, Sha256};
use tokio::time::{Duration, timeout};

use super::page::Refused;
use super::reports::{day_in_path, when};
use crate::api::Api;
use crate::api::refusal::Refusal;
use crate::journal::Reader;
use crate::report::{self, Asked, Report, gather};
use crate::time::wall;

/// The page's name behind the day.
pub(super) const PAGE: &str = "page";
/// The files' names behind the day, and what they are called.
pub(super) const FILES: [(&str, &str); 3] = [
    ("report.pdf", "PDF"),
    ("report.csv", "Table (CSV)"),
    ("report.json", "Data (JSON)"),
];
/// How long one may wait for its turn.
const TURN: Duration = Duration::from_secs(10);

/// A form of the report.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Form {
    Page,
    Pdf,
    Csv,
    Json,
}

impl Form {
    fn named(name: &str) -> Option<Form> {
        match name {
            PAGE => Some(Form::Page),
            "report.pdf" => Some(Form::Pdf),
            "report.csv" => Some(Form::Csv),
            "report.json" => Some(Form::Json),
            _ => None,
        }
    }

    fn kind(self) -> &'static str {
        match self {
            Form::Page => "text/html; charset=utf-8",
            Form::Pdf => "application/pdf",
            Form::Csv => "text/csv; charset=utf-8; header=present",
            Form::Json => "application/json",
        }
    }

    fn of(self, report: &Report) -> Result<Vec<u8>, Refusal> {
        let broken = |error: &dyn std::fmt::Display| {
            Refusal::broken(format!("the report cannot be written ({error})"))
        };
        match self {
            Form::Page => {
                let page = report::html::page(report).map_err(|error| broken(&error))?;
                Ok(page.into_bytes())
            }
            Form::Pdf => report::pdf::document(report).map_err(|error| broken(&error)),
            Form::Csv => Ok(report::csv::prints(report).into_bytes()),
            Form::Json => {
                let text = serde_json::to_string_pretty(report).map_err(|error| broken(&error))?;
                Ok((text + "\n").into_bytes())
            }
        }
    }
}

/// `GET /reports/{day}/{form}`
pub(super) async fn get(
    State(api): State<Arc<Api>>,
    Path((day, name)): Path<(String, String)>,
) -> Result<Response, Refused> {
    let date = day_in_path(&day)?;
    let form = Form::named(&name).ok_or_else(|| {
        let name: String = name.chars().take(40).collect();
        Refusal::absent(format!(
            "there is no report {name:?}; the day's own page leads to those that there are"
        ))
    })?;
    let Ok(_alone) = timeout(TURN, api.reporting.lock()).await else {
        return Err(Refused(Refusal::not_now(
            "other reports are being made; ask again in some seconds",
        )));
    };
    let question = move |reader: &Reader, _: &_| {
        let asked = Asked {
            when: when(date),
            ..Asked::default()
        };
        let report = gather(reader, None, &asked, None, wall());
        form.of(&report.map_err(|error| Refusal::broken(error.to_string()))?)
    };
    let bytes = api.read(question).await?;
    let mut headers = HeaderMap::new();
    headers.insert(CONTENT_TYPE, HeaderValue::from_static(form.kind()));
    let told = match form {
        Form::Page => (CONTENT_SECURITY_POLICY, policy()),
        _ => (
            CONTENT_DISPOSITION,
            format!("attachment; filename=\"{date}-{name}\""),
        ),
    };
    let value = HeaderValue::from_str(&told.1)
        .map_err(|_| Refusal::broken("the report cannot be sent; its day makes no file name"))?;
    headers.insert(told.0, value);
    Ok((headers, bytes).into_response())
}

/// What a browser may do with the report's page (CSP Level 3, section 8.3: a style by its digest).
fn policy() -> String {
    let digest = STANDARD.encode(Sha256::digest(report::html::STYLE));
    format!(
        "default-src 'none'; style-src 'sha256-{digest}'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    )
}
