//! Pictures put into a file that is otherwise whole.
//!
//! The PDF library keeps what it is given in memory. So it is given pictures without their data,
//! and here the file that it wrote is copied object by object, with the data taken straight from the
//! pictures' own files. The cross-reference table is written anew (ISO 32000-1, 7.5.4).

use std::collections::HashMap;
use std::fs::File;
use std::io::{self, BufWriter, Read, Seek, SeekFrom, Write};
use std::path::Path;

use sha2::{Digest, Sha256};

use super::art::Filling;
use super::picture::ReadError;

/// The longest dictionary of a picture, and the longest trailer.
const MAX_TEXT: u64 = 64 << 10;

/// What went wrong.
#[derive(Debug, thiserror::Error)]
pub(super) enum SpliceError {
    #[error("{0}")]
    Io(#[from] io::Error),
    /// The file is not as it should have been written.
    #[error("the file without its pictures is not as it should be: {0}")]
    Form(&'static str),
    /// This picture cannot be read any more.
    #[error("{1}")]
    Picture(u32, ReadError),
    #[error("stopped")]
    Stopped,
}

/// Copies `from` to `to` with these streams filled, by the numbers of their objects. `go_on` is
/// asked before each.
pub(super) fn splice(
    from: &Path,
    to: &Path,
    streams: &HashMap<u32, &Filling>,
    go_on: &mut dyn FnMut() -> bool,
) -> Result<(), SpliceError> {
    let mut source = File::open(from)?;
    let table = read_table(&mut source)?;
    let mut out = Out {
        file: BufWriter::with_capacity(1 << 20, File::options().write(true).open(to)?),
        at: 0,
        hash: Sha256::new(),
    };
    let mut ends: Vec<u64> = table.objects.iter().skip(1).map(|o| o.0).collect();
    ends.push(table.at);
    let first = table.objects.first().map_or(table.at, |o| o.0);
    out.copy(&mut source, 0, first)?;
    let mut places = vec![None; table.size as usize];
    let mut filled = 0;
    for (&(at, number), end) in table.objects.iter().zip(ends) {
        if let Some(place) = places.get_mut(number as usize) {
            *place = Some(out.at);
        }
        match streams.get(&number) {
            None => out.copy(&mut source, at, end)?,
            Some(filling) => {
                if !go_on() {
                    return Err(SpliceError::Stopped);
                }
                out.fill(&mut source, (at, end), number, filling)?;
                filled += 1;
            }
        }
    }
    if filled != streams.len() {
        return Err(SpliceError::Form("a picture has no place in it"));
    }
    out.finish(&places, &table.trailer)
}

/// The cross-reference table of a file with nothing but one such table.
struct Table {
    /// Where it stands.
    at: u64,
    /// One more than the highest number.
    size: u32,
    /// Where each object begins, and its number, in the order of the file.
    objects: Vec<(u64, u32)>,
    trailer: Vec<u8>,
}

fn read_table(file: &mut File) -> Result<Table, SpliceError> {
    let length = file.seek(SeekFrom::End(0))?;
    let tail_at = length.saturating_sub(1024);
    let mut tail = Vec::new();
    file.seek(SeekFrom::Start(tail_at))?;
    file.read_to_end(&mut tail)?;
    let bad = |what| SpliceError::Form(what);
    let word = memchr::memmem::rfind(&tail, b"startxref").ok_or(bad("it has no end"))?;
    let at: u64 = first_number(&tail[word + 9..]).ok_or(bad("its end says nothing"))?;
    if at >= tail_at + word as u64 {
        return Err(bad("its table lies behind its end"));
    }
    file.seek(SeekFrom::Start(at))?;
    let mut text = Vec::new();
    file.take(tail_at + word as u64 - at)
        .read_to_end(&mut text)?;
    let rest = text
        .strip_prefix(b"xref\n0 ")
        .ok_or(bad("its table begins in another way"))?;
    let size: u64 = first_number(rest).ok_or(bad("its table has no size"))?;
    let line = rest.iter().position(|&b| b == b'\n').unwrap_or(0) + 1;
    let entries = &rest[line..];
    let bytes = usize::try_from(size * 20).unwrap_or(usize::MAX);
    if entries.len() < bytes {
        return Err(bad("its table is cut off"));
    }
    let (entries, trailer) = entries.split_at(bytes);
    if trailer.len() as u64 > MAX_TEXT || !trailer.starts_with(b"trailer") {
        return Err(bad("its trailer is not behind its table"));
    }
    let mut objects = Vec::new();
    for (entry, number) in entries.chunks_exact(20).zip(0..) {
        if entry[17] == b'n' {
            let at = first_number(&entry[..10]).ok_or(bad("a place in its table is no number"))?;
            objects.push((at, number));
        }
    }
    objects.sort_unstable();
    Ok(Table {
        at,
        size: size as u32,
        objects,
        trailer: trailer.to_vec(),
    })
}

fn first_number(text: &[u8]) -> Option<u64> {
    let from = text.iter().position(u8::is_ascii_digit)?;
    let digits: Vec<u8> = text[from..]
        .iter()
        .copied()
        .take_while(u8::is_ascii_digit)
        .collect();
    String::from_utf8(digits).ok()?.parse().ok()
}

/// The file being written.
struct Out {
    file: BufWriter<File>,
    at: u64,
    /// Of all that tells two files apart.
    hash: Sha256,
}

impl Out {
    fn put(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.file.write_all(bytes)?;
        self.at += bytes.len() as u64;
        Ok(())
    }

    fn copy(&mut self, source: &mut File, from: u64, to: u64) -> io::Result<()> {
        source.seek(SeekFrom::Start(from))?;
        let mut left = to - from;
        let mut block = [0; 32 << 10];
        while left > 0 {
            let room = left.min(block.len() as u64) as usize;
            source.read_exact(&mut block[..room])?;
            self.hash.update(&block[..room]);
            self.put(&block[..room])?;
            left -= room as u64;
        }
        Ok(())
    }

    /// An object with the data that its stream lacks.
    fn fill(
        &mut self,
        source: &mut File,
        (from, to): (u64, u64),
        number: u32,
        filling: &Filling,
    ) -> Result<(), SpliceError> {
        if to - from > MAX_TEXT {
            return Err(SpliceError::Form("a picture is there already"));
        }
        source.seek(SeekFrom::Start(from))?;
        let mut text = vec![0; (to - from) as usize];
        source.read_exact(&mut text)?;
        // The library writes the length last.
        let empty = b" /Length 0 >>\nstream\n";
        let place = memchr::memmem::rfind(&text, empty)
            .ok_or(SpliceError::Form("a picture's place is not empty"))?;
        let Filling { entries, data } = filling;
        let head = format!(" {entries} /Length {} >>\nstream\n", data.len());
        let (before, after) = (&text[..place], &text[place + empty.len()..]);
        self.hash.update(before);
        self.hash.update(entries);
        self.put(before)?;
        self.put(head.as_bytes())?;
        let mut sum = crc32fast::Hasher::new();
        let mut written = Ok(());
        let read = data.read(&mut |bytes| {
            sum.update(bytes);
            if written.is_ok() {
                written = self.put(bytes);
            }
        });
        written?;
        read.map_err(|e| SpliceError::Picture(number, e))?;
        self.hash.update(data.len().to_le_bytes());
        self.hash.update(sum.finalize().to_le_bytes());
        // Between the data and their end stands a line's end (7.3.8.1).
        self.put(b"\n")?;
        self.put(after.strip_prefix(b"\n").unwrap_or(after))?;
        Ok(())
    }

    fn finish(mut self, places: &[Option<u64>], trailer: &[u8]) -> Result<(), SpliceError> {
        let table = self.at;
        self.put(format!("xref\n0 {}\n", places.len()).as_bytes())?;
        for place in places {
            let line = match place {
                Some(at) if *at > 9_999_999_999 => {
                    return Err(SpliceError::Form("it is longer than a table can tell"));
                }
                Some(at) => format!("{at:010} 00000 n \n"),
                None => "0000000000 65535 f \n".to_owned(),
            };
            self.put(line.as_bytes())?;
        }
        let id: String = self.hash.clone().finalize()[..16]
            .iter()
            .map(|b| format!("{b:02x}"))
            .collect();
        let word = b"/ID [<";
        let at = memchr::memmem::rfind(trailer, word)
            .ok_or(SpliceError::Form("its trailer has no name for the file"))?;
        let end = trailer[at..]
            .iter()
            .position(|&b| b == b']')
            .ok_or(SpliceError::Form("its trailer is cut off"))?;
        self.put(&trailer[..at])?;
        self.put(format!("/ID [<{id}><{id}>").as_bytes())?;
        self.put(&trailer[at + end..])?;
        self.put(format!("startxref\n{table}\n%%EOF\n").as_bytes())?;
        self.file.flush()?;
        Ok(())
    }
}
