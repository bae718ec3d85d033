//! A short name for some bytes: what has equal bytes has the same.

use sha2::{Digest, Sha256};

/// A short hash in hexadecimal of some bytes; where one part ends and the next begins counts.
pub(crate) fn hash(parts: &[&[u8]]) -> String {
    let mut hasher = Sha256::new();
    for part in parts {
        hasher.update((part.len() as u64).to_be_bytes());
        hasher.update(part);
    }
    let digest = hasher.finalize();
    digest[..8]
        .iter()
        .map(|byte| format!("{byte:02x}"))
        .collect()
}
