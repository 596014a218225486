//! What is refused, as a problem [BA-10].

use crate::bench::NotOrdered;
use crate::bench::driven::{Reason, Refusal};
use axum::body::Body;
use axum::http::{HeaderValue, Response, StatusCode, header};
use schemars::JsonSchema;
use serde::Serialize;

/// A problem [RFC9457].
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Problem {
    /// Always "about:blank": the status says what kind of problem it is.
    #[serde(rename = "type")]
    pub kind: &'static str,
    /// The status in words.
    pub title: &'static str,
    /// The status, 400 to 599.
    pub status: u16,
    /// All of it in a sentence.
    pub detail: Box<str>,
    /// What was being done.
    pub doing: Box<str>,
    /// What is wrong.
    pub wrong: Box<str>,
    /// What to do next.
    pub next: Box<str>,
}

impl Problem {
    /// One with this status.
    pub fn new(
        status: StatusCode,
        doing: impl Into<Box<str>>,
        wrong: impl Into<Box<str>>,
        next: impl Into<Box<str>>,
    ) -> Problem {
        let (doing, wrong, next) = (doing.into(), wrong.into(), next.into());
        Problem {
            kind: "about:blank",
            title: status.canonical_reason().unwrap_or("problem"),
            status: status.as_u16(),
            detail: format!("{doing}: {wrong}; next: {next}").into(),
            doing,
            wrong,
            next,
        }
    }

    /// An order that the bench refused.
    pub fn refused(doing: &str, refusal: Refusal) -> Problem {
        let status = match refusal.reason {
            Reason::NotFound => StatusCode::NOT_FOUND,
            Reason::NotNow => StatusCode::CONFLICT,
            Reason::CannotBe => StatusCode::UNPROCESSABLE_ENTITY,
            Reason::NoRoom => StatusCode::SERVICE_UNAVAILABLE,
        };
        Problem::new(status, doing, refusal.wrong, refusal.next)
    }

    /// An order that did not get as far as the bench.
    pub fn not_ordered(doing: &str, why: NotOrdered) -> Problem {
        let (wrong, next) = match why {
            NotOrdered::Full => ("too many orders wait for the bench", "ask again in a moment"),
            NotOrdered::Ended => ("the bench has ended", "start it anew"),
        };
        Problem::new(StatusCode::SERVICE_UNAVAILABLE, doing, wrong, next)
    }

    /// It as an answer.
    pub fn answer(&self) -> Response<Body> {
        // A problem is made of strings and a number, so it can always be written.
        let text = serde_json::to_string(self).unwrap_or_default();
        let mut answer = Response::new(Body::from(text));
        *answer.status_mut() = StatusCode::from_u16(self.status).unwrap_or(StatusCode::BAD_REQUEST);
        let headers = answer.headers_mut();
        headers.insert(header::CONTENT_TYPE, HeaderValue::from_static("application/problem+json"));
        if self.status == 401 {
            headers.insert(header::WWW_AUTHENTICATE, HeaderValue::from_static("Bearer"));
        }
        answer
    }
}
