//! A look at the streams that a reader must unpack before it knows anything of a file.
//!
//! Cross-reference and object streams (ISO 32000-1, 7.5.7 and 7.5.8) are unpacked whole and held
//! in memory, and two megabytes of them can unpack to two gigabytes. They are unpacked here first,
//! piece by piece and without keeping anything.

use std::collections::VecDeque;
use std::fs::File;
use std::io::{self, BufReader, Read, Seek, SeekFrom};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};
use std::time::SystemTime;

use flate2::bufread::ZlibDecoder;
use memchr::memmem;

/// The most that one such stream may unpack to. A million objects take some tens of megabytes.
const MAX_UNPACKED: u64 = 128 << 20;

/// How much is read at a time; words across the seam are found because the blocks overlap.
const BLOCK: usize = 1 << 20;
const OVERLAP: usize = 16;

/// How far the data of a stream may begin behind its type.
const DICTIONARY: usize = 2048;

/// A stream cannot grow by more than this (the limit of deflate), so that short ones are no bombs.
const MAX_GROWTH: u64 = 1032;

/// So many files are remembered.
const MOST_KNOWN: usize = 16;

/// A file as it was when it was looked through.
#[derive(PartialEq)]
struct Seen {
    path: PathBuf,
    bytes: u64,
    modified: SystemTime,
}

/// Files that were looked through and are no bombs: a print run opens the same one many times.
static HARMLESS: Mutex<VecDeque<Seen>> = Mutex::new(VecDeque::new());

/// Whether the file has a cross-reference or object stream that is too large to unpack.
pub(crate) fn is_bomb(path: &Path) -> io::Result<bool> {
    let file = File::open(path)?;
    let about = file.metadata()?;
    let bytes = about.len();
    if bytes.saturating_mul(MAX_GROWTH) <= MAX_UNPACKED {
        return Ok(false);
    }
    let seen = match (path.canonicalize(), about.modified()) {
        (Ok(path), Ok(modified)) => Some(Seen {
            path,
            bytes,
            modified,
        }),
        _ => None,
    };
    let known = || HARMLESS.lock().unwrap_or_else(PoisonError::into_inner);
    if seen.as_ref().is_some_and(|seen| known().contains(seen)) {
        return Ok(false);
    }
    for at in places(&file)? {
        if bytes.saturating_sub(at).saturating_mul(MAX_GROWTH) > MAX_UNPACKED
            && unpacks_too_far(&file, at)?
        {
            return Ok(true);
        }
    }
    if let Some(seen) = seen {
        let mut known = known();
        known.truncate(MOST_KNOWN - 1);
        known.push_front(seen);
    }
    Ok(false)
}

/// Where the types of such streams are named.
fn places(mut file: &File) -> io::Result<Vec<u64>> {
    file.seek(SeekFrom::Start(0))?;
    let finders = [
        memmem::Finder::new(b"/XRef"),
        memmem::Finder::new(b"/ObjStm"),
    ];
    let mut places = Vec::new();
    let mut block = vec![0; BLOCK];
    let (mut kept, mut start) = (0, 0);
    loop {
        let n = file.read(&mut block[kept..])?;
        if n == 0 {
            break;
        }
        let filled = kept + n;
        for finder in &finders {
            places.extend(finder.find_iter(&block[..filled]).map(|i| start + i as u64));
        }
        kept = OVERLAP.min(filled);
        block.copy_within(filled - kept..filled, 0);
        start += (filled - kept) as u64;
    }
    places.sort_unstable();
    places.dedup();
    Ok(places)
}

fn unpacks_too_far(mut file: &File, at: u64) -> io::Result<bool> {
    file.seek(SeekFrom::Start(at))?;
    let mut head = Vec::new();
    file.take(DICTIONARY as u64).read_to_end(&mut head)?;
    let Some(word) = memmem::find(&head, b"stream") else {
        return Ok(false);
    };
    let is_break = |b: &&u8| matches!(b, b'\r' | b'\n');
    let breaks = head[word + 6..].iter().take(2).take_while(is_break).count();
    file.seek(SeekFrom::Start(at + (word + 6 + breaks) as u64))?;
    let mut once = ZlibDecoder::new(BufReader::new(file));
    let twice = memmem::find_iter(&head[..word], b"Decode").count() > 2;
    if twice {
        let mut twice = ZlibDecoder::new(BufReader::new(once));
        return Ok(goes_too_far(&mut twice));
    }
    Ok(goes_too_far(&mut once))
}

fn goes_too_far(data: &mut impl Read) -> bool {
    let mut window = vec![0; 64 << 10];
    let mut total = 0;
    while let Ok(n @ 1..) = data.read(&mut window) {
        total += n as u64;
        if total > MAX_UNPACKED {
            return true;
        }
    }
    false
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Write;

    fn file_with(unpacked: usize, padding: usize) -> tempfile::NamedTempFile {
        let mut packer = flate2::write::ZlibEncoder::new(Vec::new(), flate2::Compression::fast());
        let zeros = vec![0; 1 << 20];
        for _ in 0..unpacked >> 20 {
            packer.write_all(&zeros).expect("packed");
        }
        let packed = packer.finish().expect("packed");
        let mut file = tempfile::NamedTempFile::new().expect("a file");
        file.write_all(&vec![b' '; padding]).expect("written");
        file.write_all(b"7 0 obj <</Type/ObjStm/Filter/FlateDecode>>\nstream\r\n")
            .expect("written");
        file.write_all(&packed).expect("written");
        file
    }

    #[test]
    fn a_stream_that_unpacks_beyond_the_limit_is_found_wherever_it_stands() {
        // The word lies across the seam of two blocks in one of these.
        for padding in [0, BLOCK - 20, BLOCK - 18, 3 * BLOCK] {
            let file = file_with(200 << 20, padding);
            assert!(is_bomb(file.path()).expect("read"), "{padding}");
        }
    }

    #[test]
    fn an_honest_object_stream_is_no_bomb() {
        let file = file_with(60 << 20, 300 << 10);
        assert!(!is_bomb(file.path()).expect("read"));
    }

    #[test]
    fn a_file_that_has_changed_is_looked_through_again() {
        let file = file_with(60 << 20, 300 << 10);
        assert!(!is_bomb(file.path()).expect("read"));
        let bad = file_with(200 << 20, 0);
        std::fs::copy(bad.path(), file.path()).expect("copied");
        assert!(is_bomb(file.path()).expect("read"));
        // A bomb is told every time.
        assert!(is_bomb(file.path()).expect("read"));
    }
}
