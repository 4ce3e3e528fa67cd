//! Passwords: Argon2id with the library's defaults (19 MiB, two passes), away from the async threads.

use argon2::Argon2;
use argon2::password_hash::{PasswordHasher, PasswordVerifier, phc::PasswordHash};

use tokio::sync::Semaphore;

use crate::base::{Checks, Error, ProblemCode, Result};

/// Shortest password taken (ASVS 5.0 section 6.2: at least 8).
const CHARACTERS_MIN: usize = 10;
const CHARACTERS_MAX: usize = 200;

/// Passwords that everybody tries first (common practice, no source).
const COMMON: [&str; 8] = [
    "password12",
    "1234567890",
    "qwertyuiop",
    "0123456789",
    "letmein123",
    "changeme12",
    "iloveyou12",
    "administrator",
];

/// Holds a new password against what this shop takes.
pub fn check(checks: &mut Checks, path: &str, password: &str) {
    let characters = password.chars().count();
    if characters < CHARACTERS_MIN {
        checks.refuse(
            ProblemCode::OutOfRange,
            path,
            format!(
                "A password has at least {CHARACTERS_MIN} characters; a few words make a good one."
            ),
        );
    } else if characters > CHARACTERS_MAX {
        checks.refuse(
            ProblemCode::TooLong,
            path,
            format!("A password has at most {CHARACTERS_MAX} characters."),
        );
    } else if COMMON.contains(&password.to_lowercase().as_str()) {
        checks.refuse(
            ProblemCode::Malformed,
            path,
            "Everybody tries this password first; take another.",
        );
    }
}

/// The password as a PHC string.
///
/// # Errors
/// Internal only.
pub async fn hash(password: String) -> Result<String> {
    apart(move || {
        Argon2::default()
            .hash_password(password.as_bytes())
            .map(|hash| hash.to_string())
            .map_err(|error| Error::caused("password hash", error))
    })
    .await
}

/// Whether `password` is the one behind `hash`. Without a hash the same work is done for nothing, so
/// that an unknown account takes as long as a wrong password.
///
/// # Errors
/// Internal only.
pub async fn matches(password: String, hash: Option<String>) -> Result<bool> {
    apart(move || {
        let Some(hash) = hash else {
            let _ = Argon2::default().hash_password(password.as_bytes());
            return Ok(false);
        };
        let parsed =
            PasswordHash::new(&hash).map_err(|error| Error::caused("stored password", error))?;
        Ok(Argon2::default()
            .verify_password(password.as_bytes(), &parsed)
            .is_ok())
    })
    .await
}

/// How many passwords are hashed at once: each takes 19 MiB, and strangers may ask.
static HANDS: Semaphore = Semaphore::const_new(4);

async fn apart<T: Send + 'static>(work: impl FnOnce() -> Result<T> + Send + 'static) -> Result<T> {
    let _hand = HANDS
        .acquire()
        .await
        .map_err(|error| Error::caused("password hands", error))?;
    tokio::task::spawn_blocking(work)
        .await
        .map_err(|error| Error::caused("password thread", error))?
}
