//! Files that appear complete or not at all.

use std::io::{BufWriter, Write};
use std::path::Path;

use crate::error::{Error, Result};

/// Writes a file beside its place and moves it there when it is complete.
///
/// # Errors
/// [`Error::Io`] naming the file; it is then as it was before.
pub(crate) fn write_whole(
    path: &Path,
    content: impl FnOnce(&mut dyn Write) -> std::io::Result<()>,
) -> Result<()> {
    let whole = || -> std::io::Result<()> {
        let folder = path.parent().filter(|f| !f.as_os_str().is_empty());
        let file = new_file(folder.unwrap_or(Path::new(".")))?;
        let mut out = BufWriter::with_capacity(1 << 16, file);
        content(&mut out)?;
        let file = out.into_inner().map_err(std::io::IntoInnerError::into_error)?;
        file.persist(path).map_err(|e| e.error)?;
        Ok(())
    };
    whole().map_err(|e| Error::io(path, &e))
}

/// As [`write_whole`], for content that is at hand.
///
/// # Errors
/// As [`write_whole`].
pub(crate) fn write_bytes(path: &Path, content: &[u8]) -> Result<()> {
    write_whole(path, |out| out.write_all(content))
}

/// A file that vanishes unless it is kept; readable as the user's other new files are.
fn new_file(folder: &Path) -> std::io::Result<tempfile::NamedTempFile> {
    let mut builder = tempfile::Builder::new();
    builder.prefix(".fitwright-");
    #[cfg(unix)]
    builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o666));
    builder.tempfile_in(folder)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn replaces_whole_and_leaves_nothing_behind() -> std::io::Result<()> {
        let folder = tempfile::tempdir()?;
        let path = folder.path().join("a.step");
        for text in ["first", "second"] {
            write_bytes(&path, text.as_bytes()).map_err(std::io::Error::other)?;
            assert_eq!(std::fs::read_to_string(&path)?, text);
        }
        let taken = folder.path().join("taken");
        std::fs::create_dir(&taken)?;
        assert!(matches!(write_bytes(&taken, b"x"), Err(Error::Io { path, .. }) if path == taken));
        let missing = folder.path().join("no").join("b.step");
        assert!(matches!(write_bytes(&missing, b"x"), Err(Error::Io { .. })));
        assert_eq!(std::fs::read_dir(folder.path())?.count(), 2);
        Ok(())
    }
}
