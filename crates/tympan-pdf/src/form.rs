//! A page's content as a form XObject.
//!
//! Content is moved by drawing it as a form through a matrix, never by putting `q … cm` and `Q`
//! around it: a pattern's matrix starts from the space of the stream that it is used in (ISO
//! 32000-1, 8.7.3.1), so that only a form takes its patterns along, and a stray `Q` in the content
//! cannot undo the matrix.

use std::collections::HashMap;
use std::io::Write;

use qpdf::{QPdf, QPdfDictionary, QPdfObject, QPdfObjectLike, QPdfStream, StreamDecodeLevel};

use crate::dig::{self, Id};
use crate::error::PageFault;
use crate::inflate;
use crate::space::UserRect;

/// The forms made of one file's pages so far.
pub(crate) struct Forms {
    /// Whether a content stream may itself become the form.
    in_place: bool,
    /// How much may still be decoded, in bytes.
    room: usize,
    made: HashMap<Key, QPdfObject>,
    /// Which streams have been turned into forms where they stand.
    taken: HashMap<Id, Key>,
}

/// A page's content as a form.
pub(crate) struct Form {
    pub(crate) object: QPdfObject,
    /// Whether this page is the first that it is made for.
    pub(crate) is_new: bool,
}

/// What makes two pages' forms the same form.
#[derive(Clone, PartialEq, Eq, Hash)]
struct Key {
    streams: Vec<Id>,
    resources: String,
    clip: String,
}

impl Forms {
    /// Forms made of the content streams where they stand, without copying their bytes.
    pub(crate) fn in_place() -> Self {
        Self::new(true)
    }

    /// Forms beside the content streams, which stay as they are.
    pub(crate) fn beside() -> Self {
        Self::new(false)
    }

    fn new(in_place: bool) -> Self {
        let (made, taken) = (HashMap::new(), HashMap::new());
        Self {
            in_place,
            room: inflate::MAX_ALL_CONTENT,
            made,
            taken,
        }
    }

    /// The page's content as a form in the page's own user space, clipped to what is shown of the
    /// page. `None` for a page without content.
    ///
    /// A page with one content stream lends that very stream, undecoded; several streams are
    /// decoded and joined, because a form has only one (ISO 32000-1, 7.8.2: as if by a space).
    pub(crate) fn of_page(
        &mut self,
        qpdf: &QPdf,
        page: &QPdfDictionary,
        shown: &UserRect,
    ) -> Result<Option<Form>, PageFault> {
        let streams = content_streams(page);
        if streams.is_empty() {
            return Ok(None);
        }
        let resources = dig::inherited(page, "/Resources")
            .and_then(dig::as_dictionary)
            .unwrap_or_else(|| qpdf.new_dictionary());
        let key = Key {
            streams: streams.iter().map(dig::id).collect(),
            resources: match dig::id(&resources) {
                (0, 0) => resources.to_binary(),
                (number, generation) => format!("{number} {generation} R"),
            },
            clip: shown.operands(),
        };
        if let Some(form) = self.made.get(&key) {
            return Ok(Some(Form {
                object: form.clone(),
                is_new: false,
            }));
        }
        let form = match streams.as_slice() {
            [only] => self.one_stream(qpdf, only, &key)?,
            several => joined(qpdf, several, &mut self.room)?,
        };
        let about = form.get_dictionary();
        about.set("/Type", qpdf.new_name("/XObject"));
        about.set("/Subtype", qpdf.new_name("/Form"));
        about.set("/BBox", dig::new_rect(qpdf, shown));
        about.set("/Resources", &resources);
        about.remove("/Matrix");
        let object: QPdfObject = form.into();
        self.made.insert(key, object.clone());
        Ok(Some(Form {
            object,
            is_new: true,
        }))
    }

    fn one_stream(
        &mut self,
        qpdf: &QPdf,
        stream: &QPdfStream,
        key: &Key,
    ) -> Result<QPdfStream, PageFault> {
        let id = dig::id(stream);
        // A stream that already serves as something else keeps that job; a copy becomes the form.
        let has_a_job = stream.get_dictionary().has("/Subtype");
        let free =
            self.in_place && !has_a_job && self.taken.get(&id).is_none_or(|owner| owner == key);
        if free {
            self.taken.insert(id, key.clone());
            return Ok(stream.as_object().clone().into());
        }
        let copy = dig::copy_stream(qpdf, stream).map_err(|_| PageFault::Content)?;
        for job in ["/Group", "/OC", "/StructParents", "/StructParent"] {
            copy.get_dictionary().remove(job);
        }
        Ok(copy)
    }
}

/// The page's content streams; what is no stream is passed over, as readers do.
fn content_streams(page: &QPdfDictionary) -> Vec<QPdfStream> {
    let Some(contents) = page.get("/Contents") else {
        return Vec::new();
    };
    match dig::as_array(contents.clone()) {
        Some(array) => array.iter().filter_map(dig::as_stream).collect(),
        None => dig::as_stream(contents).into_iter().collect(),
    }
}

fn joined(qpdf: &QPdf, streams: &[QPdfStream], room: &mut usize) -> Result<QPdfStream, PageFault> {
    let failed = |e: std::io::Error| PageFault::Other(e.to_string());
    let bytes: usize = streams.iter().map(|s| length(s) as usize).sum();
    // What is very large is worth less than the time to pack it well.
    let level = flate2::Compression::new(if bytes > 2 << 20 { 1 } else { 6 });
    let mut packer = flate2::write::ZlibEncoder::new(Vec::new(), level);
    let mut left = inflate::MAX_CONTENT.min(*room);
    for stream in streams {
        left -= inflate::decode(stream, left, &mut packer)?;
        packer.write_all(b"\n").map_err(failed)?;
    }
    *room = room.saturating_sub(inflate::MAX_CONTENT.min(*room) - left);
    let form = qpdf.new_stream([]);
    let packed = packer.finish().map_err(failed)?;
    form.replace_data(packed, qpdf.new_name("/FlateDecode"), qpdf.new_null());
    Ok(form)
}

/// How long a stream says that it is.
fn length(stream: &QPdfStream) -> u64 {
    dig::integer(&stream.get_dictionary(), "/Length").map_or(0, |n| n.max(0) as u64)
}

/// How many bytes the content of a page takes in its file.
pub(crate) fn content_bytes(page: &QPdfDictionary) -> u64 {
    content_streams(page).iter().map(length).sum()
}

/// The bytes of a stream as they stand in the file.
pub(crate) fn raw(stream: &QPdfStream) -> Option<Vec<u8>> {
    let data = stream.get_data(StreamDecodeLevel::None).ok()?;
    Some(if data.is_empty() {
        Vec::new()
    } else {
        data.to_vec()
    })
}
