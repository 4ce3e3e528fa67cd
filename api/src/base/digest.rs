//! Fingerprints of bytes.

use sha2::{Digest, Sha256};

/// SHA-256 as 64 lower-case hexadecimal digits (FIPS 180-4).
pub fn sha256(bytes: &[u8]) -> String {
    format!("{:x}", Sha256::digest(bytes))
}
