//! Pages and pictures as objects of the new file, each once.

use std::collections::{HashMap, HashSet};
use std::io::Write;
use std::path::PathBuf;

use qpdf::{QPdf, QPdfDictionary, QPdfObject, QPdfObjectLike};
use tempfile::NamedTempFile;

use super::ops::Ops;
use super::picture::{Colours, Data, Image, Picture, Profile, ReadError};
use super::sources::{Content, SourceFile, SourceId};
use crate::annots;
use crate::dig;
use crate::document::Document;
use crate::error::PageFault;
use crate::form::Forms;
use crate::layers;
use crate::space::Matrix;

/// How deep forms within forms are looked into.
const MAX_DEPTH: usize = 8;

/// How many pictures of the same length and kind are compared byte by byte.
const MAX_ALIKE: usize = 16;

/// What is drawn for one page of a source.
#[derive(Clone)]
pub(super) struct Drawn {
    /// A form, or an image in the unit square.
    pub(super) object: QPdfObject,
    /// From the object's own space to the page as seen, mm, y down.
    pub(super) to_seen: Matrix,
    /// Which of the pictures it is, if it is one.
    pub(super) picture: Option<usize>,
}

/// The art of one new file.
pub(super) struct Gallery<'a> {
    target: &'a QPdf,
    files: &'a [SourceFile],
    forms: HashMap<SourceId, Forms>,
    made: HashMap<(SourceId, usize), Option<Drawn>>,
    profiles: HashMap<Profile, QPdfObject>,
    /// The pictures, whose data are put into the file when all else is written.
    pub(super) pictures: Vec<Hung>,
    /// Pictures by what two equal ones have in common before their data are compared.
    same: HashMap<(u64, String, Option<Profile>), Vec<usize>>,
    /// What had to be packed anew.
    spool: NamedTempFile,
    spooled: u64,
}

/// A picture that is in the file.
pub(super) struct Hung {
    pub(super) object: QPdfObject,
    pub(super) filled: Filling,
    /// The same of its opacity.
    pub(super) alpha: Option<Filling>,
    pub(super) passed_through: bool,
}

/// What a picture's stream is filled with when all else is written.
pub(super) struct Filling {
    /// The entries of its dictionary that say how its data are packed.
    pub(super) entries: String,
    pub(super) data: Data,
}

impl Filling {
    fn of(image: Image) -> Self {
        let mut entries = format!("/Filter {}", image.filter);
        if let Some(parms) = &image.parms {
            entries = format!("/DecodeParms {parms} {entries}");
        }
        Self {
            entries,
            data: image.data,
        }
    }
}

/// Why a page or picture cannot be brought into the file.
#[derive(Debug, thiserror::Error)]
pub(super) enum ArtError {
    #[error("{0}")]
    Page(PageFault),
    #[error("{0}")]
    Picture(#[from] ReadError),
    #[error("{0}")]
    Spool(std::io::Error),
}

impl<'a> Gallery<'a> {
    pub(super) fn new(target: &'a QPdf, files: &'a [SourceFile], spool: NamedTempFile) -> Self {
        Self {
            target,
            files,
            forms: HashMap::new(),
            made: HashMap::new(),
            profiles: HashMap::new(),
            pictures: Vec::new(),
            same: HashMap::new(),
            spool,
            spooled: 0,
        }
    }

    /// How many pages have become forms.
    pub(super) fn form_count(&self) -> usize {
        let forms = self.made.values().flatten();
        forms.filter(|drawn| drawn.picture.is_none()).count()
    }

    /// A page of a source as something to draw; `None` for a blank one.
    pub(super) fn drawn(
        &mut self,
        source: SourceId,
        page: usize,
    ) -> Result<Option<Drawn>, ArtError> {
        if let Some(known) = self.made.get(&(source, page)) {
            return Ok(known.clone());
        }
        let drawn = match &self.files[source.0].content {
            Content::Pdf(document) | Content::Svg(document, _) => {
                self.form(source, document, page).map_err(ArtError::Page)?
            }
            Content::Picture(picture) => Some(self.hang(picture)?),
        };
        self.made.insert((source, page), drawn.clone());
        Ok(drawn)
    }

    fn form(
        &mut self,
        source: SourceId,
        document: &Document,
        number: usize,
    ) -> Result<Option<Drawn>, PageFault> {
        let target = self.target;
        let theirs = &document.qpdf;
        let other = |e: crate::PdfError| PageFault::Other(e.to_string());
        let info = document.page(number).map_err(other)?;
        let page = document.dictionary(number).map_err(other)?;
        let forms = self.forms.entry(source).or_insert_with(|| {
            // Hidden layers stay hidden only if the new file knows them.
            layers::merge(target, theirs);
            Forms::in_place()
        });
        // Bleed may lie beyond what a viewer shows of the page.
        let content = forms.of_page(theirs, page, &info.media)?;
        if let Some(form) = &content {
            prepare(theirs, page, &form.object);
        }
        let bring = |object: QPdfObject| target.copy_from_foreign(object);
        let content = content.map(|form| bring(form.object));
        let notes = annots::printed(page);
        let to_seen = info.space.to_seen();
        if notes.is_empty() {
            return Ok(content.map(|object| Drawn {
                object,
                to_seen,
                picture: None,
            }));
        }
        let mut ops = Ops::default();
        let (objects, properties) = (target.new_dictionary(), target.new_dictionary());
        if let Some(object) = content {
            objects.set("/Page", object);
            ops.draw(&Matrix::IDENTITY, "/Page");
        }
        for (note, i) in notes.into_iter().zip(1..) {
            let about = note.appearance.get_dictionary();
            about.set("/Subtype", theirs.new_name("/Form"));
            let name = format!("/Note{i}");
            objects.set(&name, bring(note.appearance.into()));
            match note.layer.filter(QPdfObjectLike::is_indirect) {
                Some(layer) => {
                    let layer_name = format!("/Layer{i}");
                    properties.set(&layer_name, bring(layer));
                    ops.draw_in(&layer_name, &note.fit, &name);
                }
                None => ops.draw(&note.fit, &name),
            }
        }
        let resources = target.new_dictionary();
        resources.set("/XObject", objects);
        resources.set("/Properties", properties);
        let object = new_form(target, &dig::new_rect(target, &info.media), resources, ops);
        Ok(Some(Drawn {
            object,
            to_seen,
            picture: None,
        }))
    }

    /// Puts a picture into the file, without its data for the present.
    fn hang(&mut self, picture: &Picture) -> Result<Drawn, ArtError> {
        let mut image = picture.image()?;
        let passed_through = matches!(image.data, Data::Spans(..));
        let index = match self.twin(&image)? {
            Some(index) => index,
            None => {
                self.spool(&mut image)?;
                let object = self.image(&image);
                let alpha = image.alpha.take().map(|alpha| Filling::of(*alpha));
                self.pictures.push(Hung {
                    object,
                    filled: Filling::of(image),
                    alpha,
                    passed_through,
                });
                self.pictures.len() - 1
            }
        };
        Ok(Drawn {
            object: self.pictures[index].object.clone(),
            to_seen: picture.to_seen(),
            picture: Some(index),
        })
    }

    /// A picture that is there already with the same bytes, from another file.
    fn twin(&mut self, image: &Image) -> Result<Option<usize>, ArtError> {
        // Folders often hold the common back once for each card.
        let about = format!(
            "{:?}",
            (
                image.size,
                image.bits,
                &image.colours,
                &image.parms,
                &image.key,
                image.alpha.is_some()
            )
        );
        let key = (image.data.len(), about, image.profile.clone());
        let alike = self.same.entry(key).or_default();
        let alpha = image.alpha.as_ref().map(|a| &a.data);
        for &index in alike.iter() {
            let hung = &self.pictures[index];
            let same_alpha = match (alpha, &hung.alpha) {
                (None, None) => true,
                (Some(a), Some(b)) => a.is_same(&b.data)?,
                _ => false,
            };
            if same_alpha && image.data.is_same(&hung.filled.data)? {
                return Ok(Some(index));
            }
        }
        // Pictures without compression are all of one length; only a few are compared.
        if alike.len() < MAX_ALIKE {
            alike.push(self.pictures.len());
        }
        Ok(None)
    }

    /// Moves packed data from memory to the disk.
    fn spool(&mut self, image: &mut Image) -> Result<(), ArtError> {
        if let Data::Bytes(bytes) = &image.data {
            let file: PathBuf = self.spool.path().to_path_buf();
            self.spool.write_all(bytes).map_err(ArtError::Spool)?;
            let length = bytes.len() as u64;
            image.data = Data::Spans(file, vec![(self.spooled, length)]);
            self.spooled += length;
        }
        match &mut image.alpha {
            Some(alpha) => self.spool(alpha),
            None => Ok(()),
        }
    }

    fn image(&mut self, image: &Image) -> QPdfObject {
        let qpdf = self.target;
        let stream = qpdf.new_stream([]);
        let about = stream.get_dictionary();
        let integer = |n: u32| qpdf.new_integer(i64::from(n));
        about.set("/Type", qpdf.new_name("/XObject"));
        about.set("/Subtype", qpdf.new_name("/Image"));
        about.set("/Width", integer(image.size[0]));
        about.set("/Height", integer(image.size[1]));
        about.set("/BitsPerComponent", integer(u32::from(image.bits)));
        about.set("/ColorSpace", self.colour_space(image));
        if image.inverted {
            let ends = (0..8).map(|i| integer((i + 1) % 2).into());
            about.set("/Decode", qpdf.new_array_from(ends));
        }
        if let Some(key) = &image.key {
            // A range for each channel (ISO 32000-1, 8.9.6.4).
            let ends = key.iter().flat_map(|&v| [v, v]);
            let ends = ends.map(|v| integer(u32::from(v)).into());
            about.set("/Mask", qpdf.new_array_from(ends.collect::<Vec<_>>()));
        }
        if let Some(alpha) = &image.alpha {
            let alpha = self.image(alpha);
            about.set("/SMask", alpha);
        }
        stream.into_indirect()
    }

    fn colour_space(&mut self, image: &Image) -> QPdfObject {
        let qpdf = self.target;
        let (device, channels) = match image.colours {
            Colours::Grey => ("/DeviceGray", 1),
            Colours::Rgb | Colours::Palette(_) => ("/DeviceRGB", 3),
            Colours::Cmyk => ("/DeviceCMYK", 4),
        };
        let base: QPdfObject = match &image.profile {
            None => qpdf.new_name(device),
            Some(profile) => {
                let stream = self.profiles.entry(profile.clone()).or_insert_with(|| {
                    let stream = qpdf.new_stream([]);
                    stream.replace_data(
                        packed(profile.bytes()),
                        qpdf.new_name("/FlateDecode"),
                        qpdf.new_null(),
                    );
                    let about = stream.get_dictionary();
                    about.set("/N", qpdf.new_integer(channels));
                    about.set("/Alternate", qpdf.new_name(device));
                    stream.into_indirect()
                });
                let space = [qpdf.new_name("/ICCBased"), stream.clone()];
                qpdf.new_array_from(space).into()
            }
        };
        match &image.colours {
            Colours::Palette(palette) => {
                let last = qpdf.new_integer(palette.len() as i64 / 3 - 1);
                let space = [
                    qpdf.new_name("/Indexed"),
                    base,
                    last.into(),
                    qpdf.new_binary_string(palette),
                ];
                qpdf.new_array_from(space).into()
            }
            _ => base,
        }
    }
}

/// Gives a page's form what it had as a page.
fn prepare(qpdf: &QPdf, page: &QPdfDictionary, form: &QPdfObject) {
    let Some(about) = dig::as_stream(form.clone()).map(|s| s.get_dictionary()) else {
        return;
    };
    if let Some(resources) = dig::dictionary(&about, "/Resources") {
        lend(&resources, &resources, &mut HashSet::new(), 0);
    }
    // A page is a group of its own, isolated from what it is put on (ISO 32000-1, 11.4.7).
    if let Some(theirs) = dig::dictionary(page, "/Group") {
        let group = qpdf.new_dictionary();
        group.set("/Type", qpdf.new_name("/Group"));
        group.set("/S", qpdf.new_name("/Transparency"));
        group.set("/I", qpdf.new_bool(true));
        for key in ["/CS", "/K"] {
            if let Some(value) = theirs.get(key) {
                group.set(key, value);
            }
        }
        about.set("/Group", group);
    }
}

/// Forms without resources of their own take the page's (ISO 32000-1, 7.8.3), which they no longer
/// lie on.
fn lend(
    from: &QPdfDictionary,
    resources: &QPdfDictionary,
    seen: &mut HashSet<dig::Id>,
    depth: usize,
) {
    if depth > MAX_DEPTH {
        return;
    }
    for kind in ["/XObject", "/Pattern", "/Font"] {
        let Some(all) = dig::dictionary(resources, kind) else {
            continue;
        };
        for key in all.keys() {
            let Some(object) = all.get(&key) else {
                continue;
            };
            if object.is_indirect() && !seen.insert(dig::id(&object)) {
                continue;
            }
            let about = match dig::as_stream(object.clone()) {
                Some(stream) => stream.get_dictionary(),
                None => match dig::as_dictionary(object) {
                    Some(dictionary) => dictionary,
                    None => continue,
                },
            };
            let is = |key: &str, value: &str| dig::name(&about, key).is_some_and(|n| n == value);
            let needs = match kind {
                "/XObject" => is("/Subtype", "/Form"),
                "/Pattern" => dig::integer(&about, "/PatternType") == Some(1),
                _ => is("/Subtype", "/Type3"),
            };
            if !needs {
                continue;
            }
            match dig::dictionary(&about, "/Resources") {
                Some(own) => lend(from, &own, seen, depth + 1),
                None => about.set("/Resources", from),
            }
        }
    }
}

/// A new form with this content.
pub(super) fn new_form(
    qpdf: &QPdf,
    bbox: &QPdfObject,
    resources: QPdfDictionary,
    ops: Ops,
) -> QPdfObject {
    let form = qpdf.new_stream([]);
    form.replace_data(
        packed(&ops.bytes()),
        qpdf.new_name("/FlateDecode"),
        qpdf.new_null(),
    );
    let about = form.get_dictionary();
    about.set("/Type", qpdf.new_name("/XObject"));
    about.set("/Subtype", qpdf.new_name("/Form"));
    about.set("/BBox", bbox);
    about.set("/Resources", resources);
    form.into_indirect()
}

/// Deflates a stream for `FlateDecode`.
pub(super) fn packed(bytes: &[u8]) -> Vec<u8> {
    miniz_oxide::deflate::compress_to_vec_zlib(bytes, 6)
}
