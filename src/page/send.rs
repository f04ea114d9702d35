//! What is sent to a player, as a download.

use std::sync::Arc;

use axum::extract::{Path, State};
use axum::http::header::{CONTENT_DISPOSITION, CONTENT_TYPE};
use axum::response::{IntoResponse, Response};

use super::desk::{Desk, today};
use super::refusal::Refusal;
use crate::find::Filter;
use crate::library::ServeId;
use crate::pages::{self, Reviewed, Wanted};
use crate::send::{self, BundleError, Contents};

/// Precedents in the review.
const IN_REVIEW: usize = 9;

/// The bundle of a serve's review, under a name of our own.
pub(super) async fn bundle(
    State(desk): State<Arc<Desk>>,
    Path(id): Path<String>,
) -> Result<Response, Refusal> {
    let serve: ServeId = id.parse().map_err(|_: String| Refusal::no_such("serve", &id))?;
    let bytes = desk
        .fetch(move |_, library, watch| {
            let wanted = Wanted {
                serve: Reviewed::Stored(serve),
                k: IN_REVIEW,
                filter: Filter::default(),
                on: today(),
            };
            let data = pages::gather(library, &library.catalogue()?, &wanted, watch)?;
            let contents = Contents { wanted: &wanted, data: &data, spoken: None };
            Ok(send::bundle(library, &contents, watch)?.bytes)
        })
        .await?;
    let name = format!("attachment; filename=\"review-{serve}.zip\"");
    let head = [(CONTENT_TYPE, "application/zip".to_owned()), (CONTENT_DISPOSITION, name)];
    Ok((head, bytes).into_response())
}

impl From<BundleError> for Refusal {
    fn from(error: BundleError) -> Self {
        match error {
            BundleError::Store(error) => error.into(),
            BundleError::Stopped(_) => Self::Stopped,
            _ => Self::Said("There is no room for temporary files; free some".to_owned()),
        }
    }
}
