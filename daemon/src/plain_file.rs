//! Files that are plain files, read up to a size: what stands in the place of one and is something else, such as a
//! pipe that nobody writes into, is refused at once instead of being waited for.

use std::fs::{self, File, FileType, Metadata, OpenOptions};
use std::io::{self, ErrorKind, Read, Write};
use std::os::unix::fs::{FileTypeExt, OpenOptionsExt};
use std::path::Path;

use rustix::fs::{Mode, OFlags};
use rustix::process::umask;

/// The most bytes of a file that people write by hand: a configuration, a sheet, a password.
pub(crate) const BY_HAND: u64 = 32 << 20;

/// The most bytes of a station's record that a command is given: three million days take some 70 MB.
pub(crate) const GIVEN: u64 = 256 << 20;

/// From here on what this process makes is written by its owner alone and read at most by the owner's group, however
/// open the shell's own default is. A stricter one stays.
pub(crate) fn keep_from_others() {
    let others = Mode::WGRP | Mode::RWXO;
    let shell = umask(others);
    umask((shell & (Mode::RWXG | Mode::RWXO)) | others);
}

/// Reads a file of at most so many bytes.
///
/// # Errors
/// It cannot be read, is no plain file, or has more.
pub(crate) fn read(path: &Path, most: u64) -> io::Result<Vec<u8>> {
    read_whole(open(path, File::options().read(true))?, most)
}

/// As [`read`], for text.
///
/// # Errors
/// As [`read`], or it is no UTF-8.
pub(crate) fn read_text(path: &Path, most: u64) -> io::Result<String> {
    as_text(read(path, most)?)
}

/// Reads what somebody named by hand, who may give a pipe on purpose, up to so many bytes.
///
/// # Errors
/// It cannot be read, is no UTF-8, or has more.
pub(crate) fn read_given(source: impl Read, most: u64) -> io::Result<String> {
    as_text(read_whole(source, most)?)
}

/// Writes a file anew, with these bytes.
///
/// # Errors
/// It cannot be written, or something that is no plain file stands there.
pub(crate) fn write(path: &Path, bytes: impl AsRef<[u8]>) -> io::Result<()> {
    create(path)?.write_all(bytes.as_ref())
}

/// Makes a file, or empties the one that is there.
///
/// # Errors
/// As [`write`].
pub(crate) fn create(path: &Path) -> io::Result<File> {
    open(
        path,
        File::options().write(true).create(true).truncate(true),
    )
}

/// Opens a plain file as the options say, without waiting for anybody at its other end.
///
/// # Errors
/// It cannot be opened, or is no plain file.
pub(crate) fn open(path: &Path, options: &mut OpenOptions) -> io::Result<File> {
    check(path)?;
    // Something else may have taken its place since.
    let at_once = OFlags::NONBLOCK.bits().cast_signed();
    let file = options.custom_flags(at_once).open(path)?;
    refuse_others(&file.metadata()?)?;
    Ok(file)
}

/// That nothing but a plain file, or nothing at all, stands at a path.
///
/// # Errors
/// What stands there.
pub(crate) fn check(path: &Path) -> io::Result<()> {
    match fs::metadata(path) {
        Ok(found) => refuse_others(&found),
        Err(error) if error.kind() == ErrorKind::NotFound => Ok(()),
        Err(error) => Err(error),
    }
}

/// What something is that is no plain file.
pub(crate) fn other_than_file(kind: FileType) -> Option<&'static str> {
    let what = match kind {
        _ if kind.is_file() => return None,
        _ if kind.is_dir() => "a folder",
        _ if kind.is_fifo() => "a pipe",
        _ if kind.is_socket() => "a socket",
        _ if kind.is_symlink() => "a link",
        _ => "a device",
    };
    Some(what)
}

fn refuse_others(found: &Metadata) -> io::Result<()> {
    other_than_file(found.file_type()).map_or(Ok(()), |what| {
        let why = format!("it is {what}, not a file; take it away or name another path");
        Err(io::Error::new(ErrorKind::InvalidInput, why))
    })
}

/// Reads all of a source. One byte more is asked for than may be there: a size that was looked at before may have grown.
///
/// # Errors
/// It cannot be read, or has more.
pub(crate) fn read_whole(source: impl Read, most: u64) -> io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    source.take(most + 1).read_to_end(&mut bytes)?;
    if bytes.len() as u64 > most {
        let most = most >> 20;
        let why = format!("it is larger than {most} MiB, the most that is read here");
        return Err(io::Error::new(ErrorKind::FileTooLarge, why));
    }
    Ok(bytes)
}

fn as_text(bytes: Vec<u8>) -> io::Result<String> {
    let why = "it is no text in UTF-8; save it as UTF-8";
    String::from_utf8(bytes).map_err(|_| io::Error::new(ErrorKind::InvalidData, why))
}

#[cfg(test)]
mod tests {
    use std::os::unix::net::UnixListener;

    use rustix::fs::{CWD, FileType as Kind, mknodat};

    use super::*;

    #[test]
    fn what_is_no_plain_file_is_refused_at_once_and_named() {
        let dir = tempfile::tempdir().unwrap();
        let (pipe, socket) = (dir.path().join("pipe"), dir.path().join("socket"));
        mknodat(CWD, &pipe, Kind::Fifo, Mode::RUSR | Mode::WUSR, 0).unwrap();
        let _listening = UnixListener::bind(&socket).unwrap();
        for (path, what) in [
            (pipe.as_path(), "it is a pipe"),
            (&socket, "it is a socket"),
            (dir.path(), "it is a folder"),
            (Path::new("/dev/zero"), "it is a device"),
        ] {
            let read = read(path, 10).unwrap_err().to_string();
            assert!(read.starts_with(what), "{read}");
            let written = write(path, "").unwrap_err().to_string();
            assert!(written.starts_with(what), "{written}");
        }
    }

    #[test]
    fn a_file_is_read_up_to_its_ceiling_and_not_a_byte_beyond() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("sheet.csv");
        write(&path, vec![b'a'; 1 << 20]).unwrap();
        assert_eq!(read(&path, 1 << 20).unwrap().len(), 1 << 20);
        write(&path, vec![b'a'; (1 << 20) + 1]).unwrap();
        let error = read(&path, 1 << 20).unwrap_err().to_string();
        assert!(error.contains("larger than 1 MiB"), "{error}");
        let endless = read_given(io::repeat(b'a'), 1 << 20).unwrap_err();
        assert_eq!(endless.kind(), ErrorKind::FileTooLarge);
        assert_eq!(
            read(&dir.path().join("none"), 10).unwrap_err().kind(),
            ErrorKind::NotFound
        );
    }
}
