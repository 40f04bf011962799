//! Export and import: the same data as documented JSON.

use std::collections::{HashMap, HashSet};
use std::fmt;

use rusqlite::Transaction;
use serde::{Deserialize, Serialize};

use crate::error::StoreError;
use crate::id::{ReadingId, RunId, SetUpId};
use crate::reading::ReadingRecord;
use crate::run::RunRecord;
use crate::set_up::SetUp;
use crate::store::readings::{self, find as find_reading};
use crate::store::runs::{self, find as find_run};
use crate::store::set_ups::{self, by_name, find as find_set_up};
use crate::store::witness;
use crate::store::{Fault, Happening, Store, records};
use crate::witness::WitnessRecord;

/// The version of the export's format.
const SCHEMA: u64 = 1;
/// How many fields that are not known are named one by one.
const MOST_IGNORED: usize = 20;
const LONGEST_REASON: usize = 300;
const LONGEST_NAME: usize = 80;

/// Set-ups with their readings, outside a store. `docs/data-format.md` describes its JSON.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Export {
    schema: u64,
    /// The set-ups.
    pub setups: Vec<SetUp>,
    /// Their readings: those of each set-up in the order in which they came in.
    pub readings: Vec<ReadingRecord>,
    /// Their print runs, likewise.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub runs: Vec<RunRecord>,
    /// Where the witness marks of their sheets are, likewise.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub witness: Vec<WitnessRecord>,
    /// Fields that were in the JSON and are not known to this version; they are not imported.
    #[serde(skip)]
    pub ignored: Vec<String>,
}

/// Whether imported records keep their ids.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum IdPolicy {
    /// They keep them: what is here already under the same id is recognised and not added twice,
    /// and new readings are added to the set-up that they belong to.
    #[default]
    Keep,
    /// They get new ones: everything comes in as a copy. Test sheets printed for the original
    /// still belong to the original.
    Renew,
}

/// What an import did.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Imported {
    /// One for each set-up in the file.
    pub setups: Vec<ImportedSetUp>,
    /// Fields that are not known to this version and were left out.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub ignored: Vec<String>,
}

/// What an import did with one set-up. As text it is a sentence for the user.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ImportedSetUp {
    /// Its id here.
    pub id: SetUpId,
    /// Its name here.
    pub name: String,
    /// Its id in the file.
    pub id_in_file: SetUpId,
    /// Its name in the file.
    pub name_in_file: String,
    /// What became of it.
    pub outcome: Outcome,
    /// How many readings were added.
    pub readings_added: usize,
    /// How many readings were here already.
    pub readings_known: usize,
    /// How many runs were added.
    pub runs_added: usize,
    /// Whether name, notes, other details or readings set aside differ from those in the file;
    /// what is here was kept.
    pub kept_own: bool,
}

/// What became of a set-up that was imported.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Outcome {
    /// It is new here.
    Added,
    /// It was here, and got readings that were not.
    Extended,
    /// It was here with all its readings: nothing changed.
    Known,
}

impl fmt::Display for ImportedSetUp {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let count = |n: usize| match n {
            1 => "1 reading".to_owned(),
            n => format!("{n} readings"),
        };
        let name = &self.name;
        match self.outcome {
            Outcome::Added => {
                write!(
                    f,
                    "\"{name}\" was added with {}",
                    count(self.readings_added)
                )?;
                write_runs(f, self.runs_added)?;
                if self.name != self.name_in_file {
                    write!(f, "; the name \"{}\" was taken", self.name_in_file)?;
                }
                if self.id != self.id_in_file {
                    write!(f, "; its id was {} and is {}", self.id_in_file, self.id)?;
                }
            }
            Outcome::Extended => {
                let (new, known) = (count(self.readings_added), self.readings_known);
                write!(
                    f,
                    "\"{name}\" was here and got {new}; {known} more were here already"
                )?;
                write_runs(f, self.runs_added)?;
            }
            Outcome::Known => {
                let known = count(self.readings_known);
                write!(
                    f,
                    "\"{name}\" is here already with {known}: nothing was added"
                )?;
            }
        }
        if self.kept_own {
            f.write_str("; its details differ from the file's, and those here were kept")?;
        }
        Ok(())
    }
}

fn write_runs(f: &mut fmt::Formatter<'_>, runs: usize) -> fmt::Result {
    match runs {
        0 => Ok(()),
        1 => f.write_str("; 1 run came with it"),
        n => write!(f, "; {n} runs came with it"),
    }
}

impl Export {
    /// The JSON, indented, ending with a new line.
    pub fn to_json(&self) -> String {
        // Records hold texts and finite numbers only: they always have a JSON form.
        let mut text = serde_json::to_string_pretty(self).unwrap_or_default();
        text.push('\n');
        text
    }

    /// Reads an export and looks it over: every record is sound, ids are unique, and each reading
    /// has its set-up in the same file.
    ///
    /// # Errors
    /// [`StoreError::NotAnExport`], [`StoreError::NewerExport`], or what is wrong with a record.
    pub fn from_json(bytes: &[u8]) -> Result<Self, StoreError> {
        #[derive(Deserialize)]
        struct Header {
            schema: Option<u64>,
        }
        let bytes = bytes.strip_prefix("\u{feff}".as_bytes()).unwrap_or(bytes);
        let header: Header = serde_json::from_slice(bytes).map_err(|e| not_an_export(&e))?;
        match header.schema {
            Some(SCHEMA) => {}
            Some(found) if found > SCHEMA => {
                return Err(StoreError::NewerExport {
                    found,
                    known: SCHEMA,
                });
            }
            _ => return Err(not_an_export(&"it does not say \"schema\": 1")),
        }
        let mut ignored = Vec::new();
        let mut json = serde_json::Deserializer::from_slice(bytes);
        let mut export: Self = serde_ignored::deserialize(&mut json, |path| {
            if ignored.len() < MOST_IGNORED {
                ignored.push(path.to_string().replace(".?", ""));
            }
        })
        .map_err(|e| not_an_export(&e))?;
        export.ignored = ignored;
        export.check()?;
        Ok(export)
    }

    fn check(&self) -> Result<(), StoreError> {
        let twice = |id: &dyn fmt::Display| not_an_export(&format!("the id {id} is in it twice"));
        let mut setups = HashSet::new();
        for setup in &self.setups {
            setup.check()?;
            if !setups.insert(&setup.id) {
                return Err(twice(&setup.id));
            }
        }
        let mut seen = HashSet::new();
        for reading in &self.readings {
            reading.check()?;
            if !seen.insert(&reading.id) {
                return Err(twice(&reading.id));
            }
            if !setups.contains(&reading.setup) {
                let (id, setup) = (&reading.id, &reading.setup);
                let reason = format!("the reading {id} belongs to {setup}, which is not in it");
                return Err(not_an_export(&reason));
            }
        }
        let mut seen = HashSet::new();
        for run in &self.runs {
            run.check()?;
            if !seen.insert(&run.id) {
                return Err(twice(&run.id));
            }
            if !setups.contains(&run.setup) {
                let (id, setup) = (&run.id, &run.setup);
                let reason = format!("the run {id} belongs to {setup}, which is not in it");
                return Err(not_an_export(&reason));
            }
        }
        let mut seen = HashSet::new();
        for witness in &self.witness {
            witness.check()?;
            if !seen.insert(&witness.code) {
                let reason = format!("the witness marks {} are in it twice", witness.code);
                return Err(not_an_export(&reason));
            }
            if !setups.contains(&witness.setup) {
                let (code, setup) = (&witness.code, &witness.setup);
                let reason =
                    format!("the witness marks {code} belong to {setup}, which is not in it");
                return Err(not_an_export(&reason));
            }
        }
        Ok(())
    }
}

fn not_an_export(reason: &dyn fmt::Display) -> StoreError {
    StoreError::NotAnExport(reason.to_string().chars().take(LONGEST_REASON).collect())
}

impl Store {
    /// These set-ups with all their readings, those set aside too.
    ///
    /// # Errors
    /// [`StoreError::UnknownSetUpId`].
    pub fn export(&self, ids: &[SetUpId]) -> Result<Export, StoreError> {
        self.read(|db| {
            let setups = ids.iter().map(|id| set_ups::by_id(db, id));
            let setups = setups.collect::<Result<Vec<_>, _>>()?;
            with_readings(db, setups)
        })
    }

    /// All set-ups, the removed ones too, with all their readings.
    ///
    /// # Errors
    /// When the database fails.
    pub fn export_all(&self) -> Result<Export, StoreError> {
        self.read(|db| {
            let setups = records(db, "SELECT record FROM setup ORDER BY name_key, id", [])?;
            with_readings(db, setups)
        })
    }

    /// Adds what an export holds: all of it or nothing. A name that is taken gets a number.
    ///
    /// # Errors
    /// [`StoreError::Clash`] where the same id stands for something else here,
    /// [`StoreError::Removed`] where the set-up was removed here, and whatever is wrong with a
    /// record.
    pub fn import(&mut self, export: &Export, policy: IdPolicy) -> Result<Imported, StoreError> {
        export.check()?;
        self.write(|db| {
            let one = |setup: &SetUp| match policy {
                IdPolicy::Keep => keep(db, export, setup),
                IdPolicy::Renew => {
                    let (id, new) = (SetUpId::random(), Ids::renewed(export));
                    add(db, export, setup, id, &new)
                }
            };
            let setups = export.setups.iter().map(one).collect::<Result<_, _>>()?;
            Ok(Imported {
                setups,
                ignored: export.ignored.clone(),
            })
        })
    }
}

fn with_readings(db: &rusqlite::Connection, setups: Vec<SetUp>) -> Result<Export, Fault> {
    let (mut all, mut all_runs, mut all_witness) = (Vec::new(), Vec::new(), Vec::new());
    for setup in &setups {
        all.append(&mut readings::of(db, &setup.id)?);
        all_runs.append(&mut runs::of(db, &setup.id)?);
        all_witness.append(&mut witness::of(db, &setup.id)?);
    }
    Ok(Export {
        schema: SCHEMA,
        setups,
        readings: all,
        runs: all_runs,
        witness: all_witness,
        ignored: Vec::new(),
    })
}

/// What records are called here, where they get new ids.
#[derive(Default)]
struct Ids {
    renew: bool,
    runs: HashMap<RunId, RunId>,
}

impl Ids {
    fn renewed(export: &Export) -> Self {
        let runs = export.runs.iter();
        Self {
            renew: true,
            runs: runs.map(|run| (run.id.clone(), RunId::random())).collect(),
        }
    }

    fn reading(&self, reading: &ReadingRecord) -> ReadingRecord {
        let id = if self.renew {
            ReadingId::random()
        } else {
            reading.id.clone()
        };
        let run = reading.run.as_ref().map(|run| {
            let known = run.parse::<RunId>().ok();
            let renewed = known.and_then(|run| self.runs.get(&run));
            renewed.map_or_else(|| run.clone(), RunId::to_string)
        });
        ReadingRecord {
            id,
            run,
            ..reading.clone()
        }
    }

    fn run(&self, id: &RunId) -> RunId {
        self.runs.get(id).unwrap_or(id).clone()
    }
}

/// Adds a set-up that is not here under `id`.
fn add(
    db: &Transaction,
    export: &Export,
    setup: &SetUp,
    id: SetUpId,
    ids: &Ids,
) -> Result<ImportedSetUp, Fault> {
    let name = if setup.removed.is_some() {
        setup.name.clone()
    } else {
        free_name(db, &setup.name)?
    };
    let new = SetUp {
        id,
        name,
        ..setup.clone()
    };
    set_ups::insert(db, &new, Happening::Imported)?;
    let mut readings_added = 0;
    for reading in export.readings.iter().filter(|r| r.setup == setup.id) {
        let new = ReadingRecord {
            setup: new.id.clone(),
            ..ids.reading(reading)
        };
        if find_reading(db, &new.id)?.is_some() {
            return Err(clash(
                setup,
                format!("the set-up that the reading {} belongs to", new.id),
            ));
        }
        readings::insert(db, &new, Happening::ReadingImported)?;
        readings_added += 1;
    }
    let mut runs_added = 0;
    for run in export.runs.iter().filter(|r| r.setup == setup.id) {
        let new = RunRecord {
            id: ids.run(&run.id),
            setup: new.id.clone(),
            ..run.clone()
        };
        if find_run(db, &new.id)?.is_some() {
            return Err(clash(
                setup,
                format!("the set-up that the run {} belongs to", new.id),
            ));
        }
        runs::insert(db, &new, Happening::RunImported)?;
        runs_added += 1;
    }
    // Sheets that are printed already belong to the original, not to a copy.
    if !ids.renew {
        add_witness(db, export, setup)?;
    }
    Ok(ImportedSetUp {
        id: new.id,
        name: new.name,
        id_in_file: setup.id.clone(),
        name_in_file: setup.name.clone(),
        outcome: Outcome::Added,
        readings_added,
        readings_known: 0,
        runs_added,
        kept_own: false,
    })
}

/// Adds a set-up under its own id, or what is new of it to the one that is here.
fn keep(db: &Transaction, export: &Export, setup: &SetUp) -> Result<ImportedSetUp, Fault> {
    let Some(here) = find_set_up(db, &setup.id)? else {
        return add(db, export, setup, setup.id.clone(), &Ids::default());
    };
    if here.removed.is_some() && setup.removed.is_none() {
        return Err(StoreError::Removed(here.name).into());
    }
    if let Some(what) = here.differs_in(setup) {
        return Err(clash(setup, what.into()));
    }
    let issued = here.sheets_issued.max(setup.sheets_issued);
    let mut done = ImportedSetUp {
        id: here.id.clone(),
        name: here.name.clone(),
        id_in_file: setup.id.clone(),
        name_in_file: setup.name.clone(),
        outcome: Outcome::Known,
        readings_added: 0,
        readings_known: 0,
        runs_added: 0,
        kept_own: SetUp {
            sheets_issued: here.sheets_issued,
            ..setup.clone()
        } != here,
    };
    for reading in export.readings.iter().filter(|r| r.setup == setup.id) {
        match find_reading(db, &reading.id)? {
            None => {
                readings::insert(db, reading, Happening::ReadingImported)?;
                done.readings_added += 1;
                done.outcome = Outcome::Extended;
            }
            Some(known) => {
                done.kept_own |= known.set_aside != reading.set_aside;
                if (ReadingRecord {
                    set_aside: reading.set_aside.clone(),
                    ..known
                }) != *reading
                {
                    return Err(clash(setup, format!("the reading {}", reading.id)));
                }
                done.readings_known += 1;
            }
        }
    }
    for run in export.runs.iter().filter(|r| r.setup == setup.id) {
        match find_run(db, &run.id)? {
            None => {
                runs::insert(db, run, Happening::RunImported)?;
                done.runs_added += 1;
                done.outcome = Outcome::Extended;
            }
            Some(known) if known.setup != run.setup || known.made != run.made => {
                return Err(clash(setup, format!("the run {}", run.id)));
            }
            // What became of it is known best where it is printed.
            Some(known) => done.kept_own |= known != *run,
        }
    }
    if add_witness(db, export, setup)? > 0 {
        done.outcome = Outcome::Extended;
    }
    if issued > here.sheets_issued {
        set_ups::update(
            db,
            &SetUp {
                sheets_issued: issued,
                ..here
            },
        )?;
    }
    Ok(done)
}

/// Adds where the witness marks of a set-up's sheets are; tells of how many it was new.
fn add_witness(db: &Transaction, export: &Export, setup: &SetUp) -> Result<usize, Fault> {
    let mut added = 0;
    for record in export.witness.iter().filter(|w| w.setup == setup.id) {
        let new = witness::insert(db, record).map_err(|fault| match fault {
            Fault::Refused(StoreError::IdTaken(code)) => {
                clash(setup, format!("the witness marks {code}"))
            }
            other => other,
        })?;
        added += usize::from(new);
    }
    Ok(added)
}

fn clash(setup: &SetUp, what: String) -> Fault {
    StoreError::Clash {
        name: setup.name.clone(),
        what,
    }
    .into()
}

/// The name, or the name with the first number that makes it free.
fn free_name(db: &Transaction, name: &str) -> Result<String, Fault> {
    let mut free = name.to_owned();
    let mut number = 2_u32;
    while by_name(db, &free)?.is_some() {
        let suffix = format!(" ({number})");
        let room = LONGEST_NAME - suffix.len();
        let short: String = name.chars().take(room).collect();
        free = format!("{}{suffix}", short.trim_end());
        number += 1;
    }
    Ok(free)
}
