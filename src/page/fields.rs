use std::str::FromStr;

use axum::body::Bytes;
use axum::extract::{FromRequest, FromRequestParts, RawQuery, Request};
use axum::http::StatusCode;
use axum::http::header::CONTENT_TYPE;
use axum::http::request::Parts;
use axum::response::IntoResponse;

use super::refusal::Refusal;
use crate::library::Named;

/// What a form or the end of an address says, in its order; a field left empty says nothing.
#[derive(Debug, Clone, Default)]
pub(super) struct Fields(Vec<(String, String)>);

impl Fields {
    fn of(text: &[u8]) -> Self {
        let pairs = form_urlencoded::parse(text).into_owned();
        // A browser ends lines as a typewriter does.
        let plain = pairs.map(|(name, value)| (name, value.replace("\r\n", "\n")));
        Self(plain.filter(|(_, value)| !value.trim().is_empty()).collect())
    }

    /// Every value of a field.
    pub(super) fn all<'a>(&'a self, name: &'a str) -> impl Iterator<Item = &'a str> {
        self.0.iter().filter(move |(known, _)| known == name).map(|(_, value)| value.trim())
    }

    /// The first value of a field.
    pub(super) fn text<'a>(&'a self, name: &'a str) -> Option<&'a str> {
        self.all(name).next()
    }

    /// The same, to be kept.
    pub(super) fn words(&self, name: &str) -> Option<String> {
        self.text(name).map(str::to_owned)
    }

    /// The same as a number, day or id; `label`: what the page calls the field.
    pub(super) fn value<T: FromStr>(&self, name: &str, label: &str) -> Result<Option<T>, Refusal> {
        let read = |text: &str| {
            let unreadable = || Refusal::Said(format!("{label}: '{text}' cannot be read"));
            text.replace(',', ".").parse().map_err(|_| unreadable())
        };
        self.text(name).map(read).transpose()
    }

    /// The same as one of the names a value goes by.
    pub(super) fn named<T: Named>(&self, name: &str, label: &str) -> Result<Option<T>, Refusal> {
        let read = |text: &str| {
            let unknown = || {
                let rule = format!("'{text}' is none of {}", T::names());
                Refusal::Said(format!("{label}: {rule}"))
            };
            T::from_typed(text).ok_or_else(unknown)
        };
        self.text(name).map(read).transpose()
    }

    /// Everything but one field.
    pub(super) fn without(mut self, name: &str) -> Self {
        self.0.retain(|(known, _)| known != name);
        self
    }

    /// Everything said, to be asked for once more.
    pub(super) fn pairs(&self) -> &[(String, String)] {
        &self.0
    }
}

/// The end of an address behind its question mark.
#[derive(Debug)]
pub(super) struct Asked(pub(super) Fields);

impl<S: Send + Sync> FromRequestParts<S> for Asked {
    type Rejection = Refusal;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Self, Refusal> {
        let query = RawQuery::from_request_parts(parts, state).await;
        let RawQuery(query) = query.unwrap_or(RawQuery(None));
        Ok(Self(Fields::of(query.unwrap_or_default().as_bytes())))
    }
}

impl<S: Send + Sync> FromRequest<S> for Fields {
    type Rejection = Refusal;

    async fn from_request(request: Request, state: &S) -> Result<Self, Refusal> {
        let kind = request.headers().get(CONTENT_TYPE).and_then(|kind| kind.to_str().ok());
        let kind = kind.and_then(|kind| kind.split(';').next()).map(str::trim);
        if kind != Some("application/x-www-form-urlencoded") {
            return Err(Refusal::Said("This form cannot be read.".to_owned()));
        }
        match Bytes::from_request(request, state).await {
            Ok(bytes) => Ok(Self::of(&bytes)),
            Err(rejection) => match rejection.into_response().status() {
                StatusCode::PAYLOAD_TOO_LARGE => Err(Refusal::TooLarge),
                _ => Err(Refusal::Said("The form broke off on its way; send it again.".to_owned())),
            },
        }
    }
}
