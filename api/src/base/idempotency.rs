//! One effect for one key. The receipt of an act is written in the act's own transaction, so a request
//! that is sent again finds either nothing done or the same receipt.

use sea_orm::{
    ActiveModelTrait, ActiveValue::Set, ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter,
};
use serde::Serialize;
use serde::de::DeserializeOwned;

use nameplate_entities::idempotency_key::{ActiveModel, Column, Entity};

use super::act::Act;
use super::check::is_blank;
use super::error::{Error, ProblemCode, Result};
use super::secret;

/// The input path of the key in every mutation that takes one.
pub const PATH: &str = "idempotencyKey";

/// A key that was looked up: either its receipt is there, or it is to be kept.
pub struct Once {
    actor: String,
    key: String,
    act: &'static str,
    request_hash: String,
    receipt_json: Option<String>,
}

/// Looks up `key` for this caller. `request` is everything the caller sent beside the key.
///
/// # Errors
/// `Missing`, `TooLong` for a bad key, `IdempotencyMismatch` when the key stood for another request.
pub async fn look_up<R: Serialize>(
    tx: &impl ConnectionTrait,
    act: &Act,
    verb: &'static str,
    key: &str,
    request: &R,
) -> Result<Once> {
    if is_blank(key) {
        return Err(Error::refused(
            ProblemCode::Missing,
            PATH,
            "Send a key of your own, such as a UUID, and send the same one when you try again.",
        ));
    }
    if key.chars().any(char::is_control) {
        return Err(Error::refused(
            ProblemCode::Malformed,
            PATH,
            "A key has no control characters.",
        ));
    }
    if key.len() > 200 {
        return Err(Error::refused(
            ProblemCode::TooLong,
            PATH,
            "A key has at most 200 characters.",
        ));
    }
    let body =
        serde_json::to_string(request).map_err(|error| Error::caused("request hash", error))?;
    let once = Once {
        actor: act.actor(),
        key: key.to_owned(),
        act: verb,
        request_hash: secret::hash(&body),
        receipt_json: None,
    };
    let found = Entity::find()
        .filter(Column::Actor.eq(&once.actor))
        .filter(Column::Key.eq(key))
        .one(tx)
        .await?;
    match found {
        None => Ok(once),
        Some(row) if row.request_hash == once.request_hash && row.act == verb => Ok(Once {
            receipt_json: Some(row.receipt_json),
            ..once
        }),
        Some(_) => Err(Error::refused(
            ProblemCode::IdempotencyMismatch,
            PATH,
            "This key already stood for another request. Use a new key for a new request.",
        )),
    }
}

impl Once {
    /// The receipt, if this request was carried out before.
    pub fn receipt<T: DeserializeOwned>(&self) -> Result<Option<T>> {
        self.receipt_json
            .as_deref()
            .map(serde_json::from_str)
            .transpose()
            .map_err(|error| Error::caused("idempotency receipt", error))
    }

    /// Keeps the receipt beside the effect.
    pub async fn keep<T: Serialize>(
        self,
        tx: &impl ConnectionTrait,
        act: &Act,
        receipt: &T,
    ) -> Result<()> {
        let receipt_json = serde_json::to_string(receipt)
            .map_err(|error| Error::caused("idempotency receipt", error))?;
        ActiveModel {
            actor: Set(self.actor),
            key: Set(self.key),
            act: Set(self.act.to_owned()),
            request_hash: Set(self.request_hash),
            receipt_json: Set(receipt_json),
            created_at: Set(act.at),
            ..Default::default()
        }
        .insert(tx)
        .await?;
        Ok(())
    }
}
