//! Mail as files: a shop that tries the program out sees what would have been sent, and nothing leaves.

use std::path::{Path, PathBuf};

use tokio::fs;
use tokio::io::AsyncWriteExt;

/// A folder of `.eml` files, each whole or not there.
pub struct Folder {
    path: PathBuf,
}

impl Folder {
    pub fn new(path: PathBuf) -> Self {
        Self { path }
    }

    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Writes beside the final name first. The same mail tried twice is one file.
    pub async fn keep(&self, name: &str, message: &[u8]) -> std::io::Result<()> {
        fs::create_dir_all(&self.path).await?;
        let unfinished = self.path.join(format!("{name}.part"));
        let mut file = fs::File::create(&unfinished).await?;
        file.write_all(message).await?;
        file.sync_all().await?;
        fs::rename(&unfinished, self.path.join(format!("{name}.eml"))).await
    }
}
