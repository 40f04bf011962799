//! Objects written out as PDF writes them (ISO 32000-1, 7.3), for an incremental update.

use std::collections::BTreeSet;

use qpdf::{
    QPdfArray, QPdfDictionary, QPdfObject, QPdfObjectLike, QPdfObjectType, QPdfStream,
    StreamDecodeLevel,
};

use crate::dig::{self, Id};

/// Direct objects nested deeper than this are a trap.
const MAX_DEPTH: usize = 60;

/// An object that cannot be written out faithfully; the file is rewritten instead.
#[derive(Debug)]
pub(crate) struct Unwritable;

/// The object itself, with the indirect objects that it refers to noted.
pub(crate) fn object(
    object: &QPdfObject,
    refers: &mut BTreeSet<Id>,
) -> Result<Vec<u8>, Unwritable> {
    let mut out = Vec::new();
    match dig::as_stream(object.clone()) {
        Some(stream) => write_stream(&stream, refers, &mut out)?,
        None => write_direct(object, refers, &mut out, 0)?,
    }
    Ok(out)
}

fn write_stream(
    stream: &QPdfStream,
    refers: &mut BTreeSet<Id>,
    out: &mut Vec<u8>,
) -> Result<(), Unwritable> {
    let data = stream
        .get_data(StreamDecodeLevel::None)
        .map_err(|_| Unwritable)?;
    out.extend(b"<<");
    let about = stream.get_dictionary();
    for key in about.keys() {
        if let (false, Some(value)) = (key == "/Length", about.get(&key)) {
            write_name(&key, out)?;
            out.push(b' ');
            write(&value, refers, out, 1)?;
        }
    }
    out.extend(format!("/Length {}>>\nstream\n", data.len()).bytes());
    if !data.is_empty() {
        out.extend_from_slice(&data);
    }
    out.extend(b"\nendstream");
    Ok(())
}

fn write(
    value: &QPdfObject,
    refers: &mut BTreeSet<Id>,
    out: &mut Vec<u8>,
    depth: usize,
) -> Result<(), Unwritable> {
    let (number, generation) = dig::id(value);
    if number == 0 {
        return write_direct(value, refers, out, depth);
    }
    refers.insert((number, generation));
    out.extend(format!("{number} {generation} R").bytes());
    Ok(())
}

fn write_direct(
    value: &QPdfObject,
    refers: &mut BTreeSet<Id>,
    out: &mut Vec<u8>,
    depth: usize,
) -> Result<(), Unwritable> {
    if depth > MAX_DEPTH {
        return Err(Unwritable);
    }
    match value.get_type() {
        QPdfObjectType::Dictionary => {
            let entries: QPdfDictionary = value.clone().into();
            out.extend(b"<<");
            for key in entries.keys() {
                if let Some(entry) = entries.get(&key) {
                    write_name(&key, out)?;
                    out.push(b' ');
                    write(&entry, refers, out, depth + 1)?;
                }
            }
            out.extend(b">>");
        }
        QPdfObjectType::Array => {
            let array: QPdfArray = value.clone().into();
            out.push(b'[');
            for (i, item) in array.iter().enumerate() {
                if i > 0 {
                    out.push(b' ');
                }
                write(&item, refers, out, depth + 1)?;
            }
            out.push(b']');
        }
        QPdfObjectType::Name => write_name(&value.as_name(), out)?,
        QPdfObjectType::String => {
            out.push(b'<');
            out.extend(
                value
                    .as_binary_string()
                    .iter()
                    .flat_map(|b| format!("{b:02x}").into_bytes()),
            );
            out.push(b'>');
        }
        QPdfObjectType::Integer => {
            let number = qpdf::QPdfScalar::from(value.clone()).as_i64();
            out.extend(number.to_string().bytes());
        }
        QPdfObjectType::Real => {
            let text = qpdf::QPdfScalar::from(value.clone()).as_real();
            if text.is_empty()
                || !text
                    .bytes()
                    .all(|b| b.is_ascii_digit() || b"+-.".contains(&b))
            {
                return Err(Unwritable);
            }
            out.extend(text.bytes());
        }
        QPdfObjectType::Boolean => {
            out.extend(if value.as_bool() {
                &b"true"[..]
            } else {
                b"false"
            });
        }
        QPdfObjectType::Null => out.extend(b"null"),
        _ => return Err(Unwritable),
    }
    Ok(())
}

/// A name with its slash (7.3.5). Names come as text; one that is not UTF-8 has been spoilt.
fn write_name(name: &str, out: &mut Vec<u8>) -> Result<(), Unwritable> {
    let rest = name.strip_prefix('/').ok_or(Unwritable)?;
    if rest.contains('\u{fffd}') {
        return Err(Unwritable);
    }
    out.push(b'/');
    for byte in rest.bytes() {
        if (b'!'..=b'~').contains(&byte) && !b"()<>[]{}/%#".contains(&byte) {
            out.push(byte);
        } else {
            out.extend(format!("#{byte:02X}").bytes());
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use qpdf::QPdf;

    #[test]
    fn objects_are_written_so_that_they_read_back_the_same() {
        let qpdf = QPdf::empty();
        let text =
            "<< /A [ 1 -2.50 true null (a\\(b\\)\\\\) <00ff> ] /B#20C /D#23 /E << /F [] >> >>";
        let object = qpdf.parse_object(text).expect("parsed");
        let mut refers = BTreeSet::new();
        let written = super::object(&object, &mut refers).expect("written");
        let written = String::from_utf8(written).expect("ASCII");
        let again = qpdf.parse_object(&written).expect("parsed again");
        assert_eq!(again.to_binary(), object.to_binary());
        assert!(refers.is_empty());
    }

    #[test]
    fn what_is_referred_to_is_named_and_not_written_out() {
        let qpdf = QPdf::empty();
        let other = qpdf.new_dictionary().into_indirect();
        let (number, generation) = dig::id(&other);
        let holder: QPdfObject = qpdf.new_array_from([other]).into();
        let mut refers = BTreeSet::new();
        let written = super::object(&holder, &mut refers).expect("written");
        assert_eq!(written, format!("[{number} {generation} R]").into_bytes());
        assert_eq!(
            refers.into_iter().collect::<Vec<_>>(),
            [(number, generation)]
        );
    }

    #[test]
    fn a_stream_is_written_with_its_bytes_as_they_are() {
        let qpdf = QPdf::empty();
        let stream = qpdf.new_stream(b"q Q \x00\xff\n");
        let written = super::object(stream.as_object(), &mut BTreeSet::new()).expect("written");
        assert_eq!(written, b"<</Length 7>>\nstream\nq Q \x00\xff\n\nendstream");
    }
}
