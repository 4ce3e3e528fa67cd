//! Secrets that are shown once and kept only as a hash: session tokens and estimate links.

use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;

use super::digest;
use super::error::{Error, Result};

/// A fresh secret. It has no `Debug`, so that no log can show it.
pub struct Token(String);

impl Token {
    /// 256 bits from the system's generator.
    ///
    /// # Errors
    /// Internal, when the system gives no randomness.
    pub fn fresh() -> Result<Self> {
        let mut bytes = [0_u8; 32];
        getrandom::fill(&mut bytes).map_err(|error| Error::caused("system randomness", error))?;
        Ok(Self(URL_SAFE_NO_PAD.encode(bytes)))
    }

    /// What the owner of the secret is given, once.
    pub fn reveal(&self) -> &str {
        &self.0
    }

    /// What is kept.
    pub fn hash(&self) -> String {
        hash(&self.0)
    }
}

/// SHA-256 of a secret as lower-case hex. A fast hash suits 256 random bits; passwords use Argon2id.
pub fn hash(secret: &str) -> String {
    digest::sha256(secret.as_bytes())
}
