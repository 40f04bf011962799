//! How much a page asks of a renderer, told without drawing it.

use std::collections::HashSet;

use qpdf::{
    QPdfDictionary, QPdfObject, QPdfObjectLike, QPdfObjectType, QPdfStream, StreamDecodeLevel,
};

use crate::dig::{self, Id};
use crate::inflate;

/// The most objects looked at to find out how much a page refers to.
const MAX_OBJECTS: usize = 4000;

/// The data of pictures that take no more than this, 4 bytes a pixel, are always looked into.
const SMALL_PICTURE: usize = 32 << 20;

/// What a page may ask of a renderer.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Room {
    /// The most bytes of streams that it may refer to.
    pub(crate) stream_bytes: u64,
    /// The most bytes that they may unpack to.
    pub(crate) unpacked: usize,
    /// The most bytes that a stream other than a picture may unpack to: a renderer keeps several
    /// times as much in memory for what is drawn piece by piece.
    pub(crate) drawn: usize,
    /// Whether pages are turned down where this cannot be told for sure.
    pub(crate) surely: bool,
}

/// What a page may ask for that is looked at: a large board of fine pictures has enough.
pub(crate) const LOOKED_AT: Room = Room {
    stream_bytes: 1 << 30,
    unpacked: 768 << 20,
    drawn: 32 << 20,
    surely: false,
};

/// How many bytes of streams the page refers to; `None` where there is not enough room for what
/// it asks of a renderer.
pub(crate) fn of_page(page: &QPdfDictionary, most: &Room) -> Option<u64> {
    let mut seen: HashSet<Id> = HashSet::new();
    let mut waiting: Vec<QPdfObject> = Vec::new();
    for key in ["/Contents", "/Annots"] {
        waiting.extend(page.get(key));
    }
    waiting.extend(dig::inherited(page, "/Resources"));
    let (mut bytes, mut objects, mut unpacked) = (0, 0, 0);
    while let Some(object) = waiting.pop() {
        objects += 1;
        if objects > MAX_OBJECTS {
            return None;
        }
        if object.is_indirect() && !seen.insert(dig::id(&object)) {
            continue;
        }
        let mut push_all = |entries: &QPdfDictionary| {
            // In an annotation some keys lead back to the page tree or on to other pages; in
            // resources the same words are names like any other.
            let leads_away = |key: &str| {
                entries.has("/Rect")
                    && ["/Parent", "/P", "/Dest", "/A", "/Popup", "/Kids"].contains(&key)
            };
            for key in entries.keys() {
                if !leads_away(&key) {
                    waiting.extend(entries.get(&key));
                }
            }
        };
        match object.get_type() {
            QPdfObjectType::Array => {
                let array: qpdf::QPdfArray = object.into();
                waiting.extend(array.iter());
            }
            QPdfObjectType::Dictionary => push_all(&object.into()),
            QPdfObjectType::Stream => {
                let stream = QPdfStream::from(object);
                let about = stream.get_dictionary();
                bytes += dig::integer(&about, "/Length").map_or(0, |n| n.max(0) as u64);
                if bytes > most.stream_bytes {
                    return None;
                }
                unpacked += unpacked_bytes(&stream, &about, most, most.unpacked - unpacked)?;
                push_all(&about);
            }
            _ => {}
        }
    }
    Some(bytes)
}

/// How many bytes a stream unpacks to; `None` beyond `room`, and for streams of which nobody can
/// tell before a reader has taken the memory for them.
fn unpacked_bytes(
    stream: &QPdfStream,
    about: &QPdfDictionary,
    most: &Room,
    room: usize,
) -> Option<usize> {
    let side = |key| dig::integer(about, key).map_or(0, |n| n.max(0) as usize);
    let picture = side("/Width")
        .checked_mul(side("/Height"))?
        .checked_mul(4)?;
    if picture > room || oddly_predicted(about) {
        return None;
    }
    if !most.surely && picture > SMALL_PICTURE {
        // It takes what it says; looking into it would take as long as drawing it.
        return Some(picture);
    }
    let room = room.min(picture.max(most.drawn));
    let data = stream.get_data(StreamDecodeLevel::None).ok()?;
    let unpacked = match inflate::filters(about).as_slice() {
        [] => data.len(),
        [one] if inflate::is_flate(one) => {
            inflate::inflate(&data, room, &mut std::io::sink()).ok()?
        }
        [one] if matches!(one.as_str(), "/DCTDecode" | "/DCT") => {
            let reader = image::ImageReader::with_format(
                std::io::Cursor::new(&*data),
                image::ImageFormat::Jpeg,
            );
            let (width, height) = reader.into_dimensions().ok()?;
            4 * width as usize * height as usize
        }
        _ if most.surely => return None,
        _ if picture > 0 => picture,
        _ => inflate::decode(stream, room, &mut std::io::sink()).ok()?,
    };
    let taken = unpacked.max(picture);
    (taken <= room).then_some(taken)
}

/// Whether the stream's rows are said to be wider than any honest picture's.
fn oddly_predicted(about: &QPdfDictionary) -> bool {
    let odd = |parms: &QPdfDictionary| {
        [
            ("/Columns", 100_000),
            ("/Colors", 32),
            ("/BitsPerComponent", 16),
        ]
        .iter()
        .any(|(key, most)| {
            parms.get(key).is_some()
                && !dig::integer(parms, key).is_some_and(|n| (1..=*most).contains(&n))
        })
    };
    match about.get("/DecodeParms") {
        None => false,
        Some(parms) => match dig::as_dictionary(parms) {
            Some(parms) => odd(&parms),
            // A list of them, or something else.
            None => dig::array(about, "/DecodeParms").is_none_or(|list| {
                list.iter()
                    .any(|one| dig::as_dictionary(one).is_some_and(|one| odd(&one)))
            }),
        },
    }
}
