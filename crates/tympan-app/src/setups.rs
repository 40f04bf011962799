//! Set-ups as people make and keep them: from answers to simple questions.

use serde::Deserialize;
use tympan_sheet::{Flip, LeadingEdge, Side};
use tympan_store::{Export, FlippedBy, IdPolicy, SetUp, SetUpId, Store};

use crate::refusal::Refusal;

/// From so many sheets on a set-up is known well.
pub const WELL_KNOWN: usize = 3;

/// All set-ups, each with how many sheets of it were read.
///
/// # Errors
/// A [`Refusal`] where the store cannot be read.
pub fn with_readings(store: &Store) -> Result<Vec<(SetUp, usize)>, Refusal> {
    let read = |setup: SetUp| {
        let count = store.readings_in_use(&setup.id)?.len();
        Ok((setup, count))
    };
    store.set_ups()?.into_iter().map(read).collect()
}

/// The answers that make a set-up.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Answers {
    /// What it is to be called; made from the others where it is empty.
    pub name: String,
    /// The printer's name.
    pub printer: String,
    /// The paper's name or measure.
    pub paper: String,
    /// The stock; may be empty.
    pub stock: String,
    /// The tray.
    pub feed: String,
    /// The media type that is chosen in the print dialog.
    pub media_type: String,
    /// The quality that is chosen there.
    pub quality: String,
    /// How the back stands to the front.
    pub flip: Option<Flip>,
    /// Who turns the sheet over.
    pub flipped_by: FlippedBy,
    /// The side that is printed first.
    pub first_side: Option<Side>,
    /// The edge that goes in first.
    pub leading_edge: Option<LeadingEdge>,
}

impl Answers {
    /// The set-up that the answers describe.
    ///
    /// # Errors
    /// A [`Refusal`] with the question that is still open or whose answer is not understood.
    pub fn set_up(&self) -> Result<SetUp, Refusal> {
        let open = |what: &str, hint: &str| Refusal::new(what, hint);
        if self.paper.trim().is_empty() {
            return Err(open(
                "the paper's size is not said",
                "choose a size, or write one like 210x297mm",
            ));
        }
        let flip = self.flip.ok_or_else(|| {
            open(
                "it is not said how the sheet is turned over",
                "choose one of the two pictures",
            )
        })?;
        let mut setup = SetUp::new(&self.title(), self.paper.parse()?, flip);
        if !self.stock.trim().is_empty() {
            setup.stock = Some(self.stock.parse()?);
        }
        for (to, from) in [
            (&mut setup.printer, &self.printer),
            (&mut setup.feed, &self.feed),
            (&mut setup.media_type, &self.media_type),
            (&mut setup.quality, &self.quality),
        ] {
            from.trim().clone_into(to);
        }
        setup.flipped_by = self.flipped_by;
        setup.first_side = self.first_side.unwrap_or(setup.first_side);
        setup.leading_edge = self.leading_edge.unwrap_or(setup.leading_edge);
        Ok(setup)
    }

    /// The name that was given, or one from printer, tray and stock.
    fn title(&self) -> String {
        let given = self.name.trim();
        if !given.is_empty() {
            return given.to_owned();
        }
        let parts = [&self.printer, &self.feed, &self.stock];
        let parts: Vec<&str> = parts
            .iter()
            .map(|part| part.trim())
            .filter(|part| !part.is_empty())
            .collect();
        if parts.is_empty() {
            "my printer".to_owned()
        } else {
            parts.join(", ").chars().take(80).collect()
        }
    }
}

/// Makes a set-up from answers. Where no name was given and the one made from the answers is
/// taken, it gets a number.
///
/// # Errors
/// A [`Refusal`] where an answer is missing or not understood, or the given name is taken.
pub fn make(store: &mut Store, answers: &Answers) -> Result<SetUp, Refusal> {
    let mut setup = answers.set_up()?;
    if answers.name.trim().is_empty() {
        setup.name = free_name(store, &setup.name)?;
    }
    store.add_set_up(&setup)?;
    Ok(setup)
}

/// Copies a set-up under the next free name.
///
/// # Errors
/// A [`Refusal`] where there is no such set-up.
pub fn copy(store: &mut Store, id: &SetUpId) -> Result<SetUp, Refusal> {
    let name = free_name(store, &store.set_up(id)?.name)?;
    Ok(store.copy_set_up(id, &name)?)
}

/// Brings a removed set-up back, under the next free name where its own was given away.
///
/// # Errors
/// A [`Refusal`] where it was not removed.
pub fn restore(store: &mut Store, id: &SetUpId) -> Result<SetUp, Refusal> {
    let name = free_name(store, &store.set_up(id)?.name)?;
    Ok(store.restore_set_up(id, Some(&name))?)
}

/// The name itself, or with a number where it is taken.
fn free_name(store: &Store, name: &str) -> Result<String, Refusal> {
    let taken: Vec<String> = store
        .set_ups()?
        .iter()
        .map(|setup| setup.name.to_lowercase())
        .collect();
    let numbered = |n: usize| {
        let end = format!(" {n}");
        let stem: String = name.chars().take(80 - end.len()).collect();
        format!("{}{end}", stem.trim_end())
    };
    let free = std::iter::once(name.to_owned())
        .chain((2..).map(numbered))
        .find(|name| !taken.contains(&name.to_lowercase()));
    Ok(free.unwrap_or_default())
}

/// Takes in an export. What is here already is recognised.
///
/// # Errors
/// A [`Refusal`] where it is not one, or cannot be taken in.
pub fn import(store: &mut Store, json: &[u8]) -> Result<Vec<String>, Refusal> {
    let imported = store.import(&Export::from_json(json)?, IdPolicy::Keep)?;
    let mut said: Vec<String> = imported.setups.iter().map(|s| format!("{s}.")).collect();
    said.extend(
        imported
            .ignored
            .iter()
            .map(|field| format!("Not known to this version and left out: {field}.")),
    );
    Ok(said)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn answers() -> Answers {
        Answers {
            printer: "the grey one".into(),
            paper: "a4".into(),
            stock: "300 gsm card".into(),
            feed: "rear tray".into(),
            flip: Some(Flip::Endways),
            first_side: Some(Side::Back),
            leading_edge: Some(LeadingEdge::Foot),
            ..Answers::default()
        }
    }

    #[test]
    fn answers_become_a_set_up() {
        let setup = answers().set_up().expect("a set-up");
        assert_eq!(setup.name, "the grey one, rear tray, 300 gsm card");
        assert_eq!(setup.flip, Flip::Endways);
        assert_eq!(setup.first_side, Side::Back);
        assert_eq!(setup.leading_edge, LeadingEdge::Foot);
        assert_eq!(setup.feed, "rear tray");
    }

    #[test]
    fn an_open_question_is_named() {
        let no_flip = Answers {
            flip: None,
            ..answers()
        };
        let said = no_flip.set_up().expect_err("open").message;
        assert!(said.contains("turned over"), "{said}");
        let no_paper = Answers {
            paper: " ".into(),
            ..answers()
        };
        assert!(no_paper.set_up().is_err());
        let odd_stock = Answers {
            stock: "parchment of doom".into(),
            ..answers()
        };
        assert!(odd_stock.set_up().is_err());
    }

    #[test]
    fn names_that_nobody_chose_never_clash() {
        let mut store = Store::open_in_memory().expect("a store");
        let first = make(&mut store, &answers()).expect("made");
        let second = make(&mut store, &answers()).expect("made");
        assert_eq!(second.name, format!("{} 2", first.name));
        let third = copy(&mut store, &first.id).expect("copied");
        assert_eq!(third.name, format!("{} 3", first.name));
        store.remove_set_up(&first.id).expect("removed");
        let taken = make(&mut store, &answers()).expect("made");
        assert_eq!(taken.name, first.name);
        let back = restore(&mut store, &first.id).expect("restored");
        assert_eq!(back.name, format!("{} 4", first.name));
        let named = Answers {
            name: taken.name,
            ..answers()
        };
        assert!(
            make(&mut store, &named).is_err(),
            "a chosen name is not bent"
        );
    }
}
