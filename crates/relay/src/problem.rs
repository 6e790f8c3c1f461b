//! What went wrong with a request, as `application/problem+json` (RFC 9457).

use axum::body::Body;
use axum::http::header::{ALLOW, CONTENT_TYPE, RETRY_AFTER, UPGRADE, WWW_AUTHENTICATE};
use axum::http::{HeaderName, HeaderValue, Response, StatusCode};
use axum::response::IntoResponse;
use serde_json::json;

use crate::store::{Refusal, StoreError};

/// A kind of problem. Its name is the last part of the `type` in the body, where the relay explains it, and the
/// `error` of a socket's message.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Sort {
    Malformed,
    Unauthorized,
    Forbidden,
    ReadOnly,
    NotYours,
    Passcode,
    NotFound,
    MethodNotAllowed,
    Timeout,
    Conflict,
    Gone,
    ChainDiffers,
    TooLarge,
    UpgradeRequired,
    ChainRequired,
    TooMany,
    TooManyWatches,
    Unavailable,
    LogFull,
    Damaged,
}

/// name, status, title, explanation
type Said = (&'static str, StatusCode, &'static str, &'static str);

impl Sort {
    pub(crate) const ALL: [Self; 20] = [
        Self::Malformed,
        Self::Unauthorized,
        Self::Forbidden,
        Self::ReadOnly,
        Self::NotYours,
        Self::Passcode,
        Self::NotFound,
        Self::MethodNotAllowed,
        Self::Timeout,
        Self::Conflict,
        Self::Gone,
        Self::ChainDiffers,
        Self::TooLarge,
        Self::UpgradeRequired,
        Self::ChainRequired,
        Self::TooMany,
        Self::TooManyWatches,
        Self::Unavailable,
        Self::LogFull,
        Self::Damaged,
    ];

    fn said(self) -> Said {
        use StatusCode as S;
        match self {
            Self::Malformed => (
                "malformed",
                S::BAD_REQUEST,
                "The request cannot be read",
                "An id, a number, a header or a body is not of the form that the protocol asks for.",
            ),
            Self::Unauthorized => (
                "unauthorized",
                S::UNAUTHORIZED,
                "No token that opens this log",
                "The request carries no bearer token, or one that is neither the owner's nor the writer's.",
            ),
            Self::Forbidden => (
                "forbidden",
                S::FORBIDDEN,
                "Only the owner may do this",
                "The token is the writer's, who may read and append.",
            ),
            Self::ReadOnly => (
                "read-only",
                S::FORBIDDEN,
                "The log is read-only",
                "The owner has ended appending by the writer, who may still read.",
            ),
            Self::NotYours => (
                "not-yours",
                S::FORBIDDEN,
                "The log belongs to another owner",
                "A log of this id was made under another owner token.",
            ),
            Self::Passcode => (
                "passcode",
                S::FORBIDDEN,
                "Making logs takes a passcode",
                "Send the relay's passcode in the header Trug-Passcode.",
            ),
            Self::NotFound => (
                "not-found",
                S::NOT_FOUND,
                "Nothing here",
                "There is no such place, or a log of this id was never made.",
            ),
            Self::MethodNotAllowed => (
                "method-not-allowed",
                S::METHOD_NOT_ALLOWED,
                "Not with this method",
                "The header Allow names the methods that this place answers to.",
            ),
            Self::Timeout => (
                "timeout",
                S::REQUEST_TIMEOUT,
                "The body took too long",
                "Send it again over a better connection; the same bytes are never appended twice.",
            ),
            Self::Conflict => (
                "conflict",
                S::CONFLICT,
                "A snapshot cannot reach through this number",
                "It must reach at least as far as the last snapshot, and no further than the head.",
            ),
            Self::Gone => {
                ("gone", S::GONE, "The log was deleted", "Its owner has deleted it; its id is never used again.")
            }
            Self::ChainDiffers => (
                "chain-differs",
                S::PRECONDITION_FAILED,
                "The chain is another one",
                "The log does not hold the entries that the snapshot was made from. Read it again from 0.",
            ),
            Self::TooLarge => {
                ("too-large", S::PAYLOAD_TOO_LARGE, "Too many bytes", "The body is larger than this relay takes.")
            }
            Self::UpgradeRequired => (
                "upgrade-required",
                S::UPGRADE_REQUIRED,
                "This is a WebSocket",
                "Ask for an upgrade to websocket, version 13.",
            ),
            Self::ChainRequired => (
                "chain-required",
                S::PRECONDITION_REQUIRED,
                "A snapshot needs its chain",
                "Send the chain at the snapshot's number in the header Trug-Chain.",
            ),
            Self::TooMany => (
                "too-many",
                S::TOO_MANY_REQUESTS,
                "Too much at once",
                "This address has asked for more than its share. Wait for the seconds in Retry-After.",
            ),
            Self::TooManyWatches => (
                "too-many-watches",
                S::TOO_MANY_REQUESTS,
                "Too many watches",
                "This socket watches as many logs as it may. Open another.",
            ),
            Self::Unavailable => (
                "unavailable",
                S::SERVICE_UNAVAILABLE,
                "Not now",
                "The relay cannot store or read at the moment. Nothing was acknowledged; try again later.",
            ),
            Self::LogFull => (
                "log-full",
                S::INSUFFICIENT_STORAGE,
                "The log is full",
                "The owner can make room with a snapshot, or by deleting the log.",
            ),
            Self::Damaged => (
                "damaged",
                S::INTERNAL_SERVER_ERROR,
                "The store contradicts itself",
                "The operator finds the cause in the relay's log and should bring back a backup.",
            ),
        }
    }

    pub(crate) fn name(self) -> &'static str {
        self.said().0
    }

    /// The text at the place that `type` points at.
    fn explain(name: &str) -> Option<String> {
        let (name, status, title, explanation) = Self::ALL.into_iter().find(|sort| sort.name() == name)?.said();
        Some(format!("{title} ({name}, {})\n\n{explanation}\n", status.as_u16()))
    }
}

/// A problem with this very request.
#[derive(Debug, Clone)]
pub(crate) struct Problem {
    pub sort: Sort,
    pub detail: String,
    headers: Vec<(HeaderName, HeaderValue)>,
}

impl Problem {
    pub(crate) fn new(sort: Sort, detail: impl Into<String>) -> Self {
        let headers = match sort {
            Sort::Unauthorized => vec![(WWW_AUTHENTICATE, HeaderValue::from_static("Bearer realm=\"trug\""))],
            Sort::UpgradeRequired => vec![(UPGRADE, HeaderValue::from_static("websocket"))],
            Sort::Unavailable => vec![(RETRY_AFTER, HeaderValue::from_static("5"))],
            _ => Vec::new(),
        };
        Self { sort, detail: detail.into(), headers }
    }

    pub(crate) fn explained(name: &str) -> Option<String> {
        Sort::explain(name)
    }

    pub(crate) fn malformed(detail: impl Into<String>) -> Self {
        Self::new(Sort::Malformed, detail)
    }

    pub(crate) fn retry_after(mut self, seconds: u64) -> Self {
        self.headers.push((RETRY_AFTER, HeaderValue::from(seconds.max(1))));
        self
    }

    pub(crate) fn allow(methods: &'static str) -> Self {
        let mut problem = Self::new(Sort::MethodNotAllowed, format!("this place answers to {methods}"));
        problem.headers.push((ALLOW, HeaderValue::from_static(methods)));
        problem
    }
}

impl From<StoreError> for Problem {
    fn from(error: StoreError) -> Self {
        match error {
            StoreError::Refused(refusal) => refusal.into(),
            // The detail may name files and hosts; it is for the operator's log, not for whoever asked.
            StoreError::Unavailable(cause) => {
                tracing::error!(%cause, "the store is not available");
                Self::new(Sort::Unavailable, "the store is not available")
            }
            StoreError::Damaged(cause) => {
                tracing::error!(%cause, "the store is damaged");
                Self::new(Sort::Damaged, "the store is damaged")
            }
        }
    }
}

impl From<Refusal> for Problem {
    fn from(refusal: Refusal) -> Self {
        let sort = match refusal {
            Refusal::Unknown => Sort::NotFound,
            Refusal::Gone => Sort::Gone,
            Refusal::Token => Sort::Unauthorized,
            Refusal::OwnerOnly => Sort::Forbidden,
            Refusal::ReadOnly => Sort::ReadOnly,
            Refusal::Full | Refusal::ReplacedFull => Sort::LogFull,
            Refusal::Range { .. } => Sort::Conflict,
            Refusal::ChainDiffers { .. } => Sort::ChainDiffers,
        };
        Self::new(sort, refusal.to_string())
    }
}

impl IntoResponse for Problem {
    fn into_response(self) -> Response<Body> {
        let (name, status, title, _) = self.sort.said();
        let body = json!({
            "type": format!("/v1/problems/{name}"),
            "title": title,
            "status": status.as_u16(),
            "detail": self.detail,
        });
        let mut response = Response::new(Body::from(body.to_string()));
        *response.status_mut() = status;
        let headers = response.headers_mut();
        headers.insert(CONTENT_TYPE, HeaderValue::from_static("application/problem+json"));
        headers.extend(self.headers);
        // Left for the log line and the counters.
        response.extensions_mut().insert(self.sort);
        response
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_problem_is_explained() {
        let mut names: Vec<_> = Sort::ALL.iter().map(|sort| sort.name()).collect();
        for name in &names {
            assert!(Sort::explain(name).is_some_and(|text| text.contains(name)), "{name}");
        }
        names.sort_unstable();
        names.dedup();
        assert_eq!(names.len(), Sort::ALL.len(), "names are distinct");
        assert_eq!(Sort::explain("../etc"), None);
    }
}
