//! Reading a request's body, up to a limit.

use actix_web::web::{Bytes, BytesMut, Payload};
use futures_util::StreamExt;

/// The largest request.
pub const BODY_MAX: usize = 1024 * 1024;
/// What is read of a larger one and thrown away, so that its sender comes to read the refusal.
const DRAIN_MAX: usize = 32 * 1024 * 1024;

/// Why there is no body to work with.
#[derive(Debug, PartialEq, Eq)]
pub enum BodyFault {
    TooLarge,
    /// The connection broke, or the sender counted wrongly.
    Broken,
}

/// The whole body.
///
/// # Errors
/// When it is larger than [`BODY_MAX`], or ends early.
pub async fn read(payload: Payload) -> Result<Bytes, BodyFault> {
    read_up_to(payload, BODY_MAX).await
}

/// The whole body, if it has at most `bytes_max`.
///
/// # Errors
/// When it is larger, or ends early.
pub async fn read_up_to(mut payload: Payload, bytes_max: usize) -> Result<Bytes, BodyFault> {
    let mut body = BytesMut::new();
    let mut seen = 0_usize;
    while let Some(chunk) = payload.next().await {
        let chunk = chunk.map_err(|_| BodyFault::Broken)?;
        seen = seen.saturating_add(chunk.len());
        if seen > DRAIN_MAX {
            return Err(BodyFault::TooLarge);
        }
        if seen <= bytes_max {
            body.extend_from_slice(&chunk);
        } else {
            body.clear();
        }
    }
    if seen > bytes_max {
        return Err(BodyFault::TooLarge);
    }
    Ok(body.freeze())
}
