//! Export and import.

mod support;

use proptest::prelude::*;
use serde_json::{Value, json};
use support::{reading, said, set_up, store_with};
use tympan_register::{Observation, Reading};
use tympan_sheet::{
    Behaviour, Facing, Flip, LeadingEdge, Paper, PileEnd, Point, Side, Size, Stock, Vector,
};
use tympan_store::{
    CheckRules, Export, FlippedBy, IdPolicy, Outcome, ReadingRecord, RunRecord, RunState, SetAside,
    SetUp, Span, Spoiled, Store, StoreError, Timestamp, Tray, Unprintable, Way, WitnessRecord,
};

fn imported_into_new_store(export: &Export) -> Store {
    let mut store = Store::open_in_memory().expect("a store");
    let done = store.import(export, IdPolicy::Keep).expect("imported");
    assert!(done.setups.iter().all(|s| s.outcome == Outcome::Added));
    store
}

#[test]
fn importing_twice_adds_nothing_and_says_so() {
    let (mut store, setup) = store_with("rear tray");
    store
        .add_readings(&[reading(&setup, 1), reading(&setup, 2)])
        .expect("readings");
    let export = store.export_all().expect("an export");
    let done = store
        .import(&export, IdPolicy::Keep)
        .expect("the same again");
    let said: Vec<_> = done.setups.iter().map(ToString::to_string).collect();
    assert_eq!(
        said,
        ["\"rear tray\" is here already with 2 readings: nothing was added"]
    );
    assert_eq!(store.export_all().expect("an export"), export);
}

#[test]
fn readings_taken_elsewhere_are_added_to_the_same_set_up() {
    let (mut desk, setup) = store_with("rear tray");
    desk.add_reading(&reading(&setup, 1)).expect("a reading");
    let mut laptop = imported_into_new_store(&desk.export_all().expect("an export"));
    laptop.add_reading(&reading(&setup, 2)).expect("a reading");
    laptop.issue_sheets(&setup.id, 2).expect("numbers");
    desk.rename_set_up(&setup.id, "rear").expect("renamed");

    let done = desk.import(&laptop.export_all().expect("an export"), IdPolicy::Keep);
    let line = done.expect("imported").setups[0].to_string();
    assert_eq!(
        line,
        "\"rear\" was here and got 1 reading; 1 more were here already; its details differ from \
         the file's, and those here were kept"
    );
    let sheets: Vec<_> = desk
        .readings(&setup.id)
        .expect("readings")
        .iter()
        .map(|r| r.sheet)
        .collect();
    assert_eq!(sheets, [Some(1), Some(2)]);
    assert_eq!(desk.issue_sheets(&setup.id, 1).expect("numbers"), 3..=3);
}

#[test]
fn a_taken_name_gets_a_number() {
    let (mut store, _) = store_with("rear tray");
    let (other, _) = store_with("Rear tray");
    let export = other.export_all().expect("an export");
    let done = store.import(&export, IdPolicy::Keep).expect("another id");
    assert_eq!(
        done.setups[0].to_string(),
        "\"Rear tray (2)\" was added with 0 readings; the name \"Rear tray\" was taken"
    );
    let done = store.import(&export, IdPolicy::Renew).expect("a copy");
    assert_eq!(done.setups[0].name, "Rear tray (3)");
    assert_ne!(done.setups[0].id, done.setups[0].id_in_file);
}

#[test]
fn a_long_taken_name_stays_within_the_longest() {
    let name = "ß".repeat(80);
    let (mut store, _) = store_with(&name);
    let (other, _) = store_with(&name);
    store
        .import(&other.export_all().expect("an export"), IdPolicy::Keep)
        .expect("imported");
    assert!(
        store
            .set_ups()
            .expect("a list")
            .iter()
            .all(|s| s.name.chars().count() == 80)
    );
}

#[test]
fn copies_get_ids_of_their_own_and_keep_everything_else() {
    let (mut store, setup) = store_with("rear tray");
    store
        .add_readings(&[reading(&setup, 1), reading(&setup, 2)])
        .expect("readings");
    let export = store.export_all().expect("an export");
    let done = store.import(&export, IdPolicy::Renew).expect("a copy");
    let copy = &done.setups[0];
    let readings = store.readings(&copy.id).expect("readings");
    assert_eq!(readings.len(), 2);
    for (new, old) in readings.iter().zip(&export.readings) {
        assert_ne!(new.id, old.id);
        let back = ReadingRecord {
            id: old.id.clone(),
            setup: old.setup.clone(),
            ..new.clone()
        };
        assert_eq!(&back, old);
    }
}

#[test]
fn the_same_id_for_something_else_is_refused_and_nothing_comes_in() {
    let (mut store, setup) = store_with("rear tray");
    store.add_reading(&reading(&setup, 1)).expect("a reading");
    let before = store.export_all().expect("an export");

    let mut other = before.clone();
    other.setups[0].flip = Flip::Endways;
    other.setups.insert(0, set_up("new"));
    let refused = store
        .import(&other, IdPolicy::Keep)
        .expect_err("another flip");
    assert_eq!(
        said(&refused),
        "\"rear tray\" in the file and here have the same id but differ in flip\n\
         nothing was imported; import it as copies, which get ids of their own"
    );
    assert_eq!(store.export_all().expect("an export"), before);

    let mut other = before.clone();
    other.readings[0].reading.observations[0].error.x += 0.1;
    let refused = store
        .import(&other, IdPolicy::Keep)
        .expect_err("another reading");
    assert!(matches!(refused, StoreError::Clash { .. }), "{refused}");

    // A reading that belongs to another set-up here.
    let mut other = before.clone();
    other.setups[0].id = "OTHER".parse().expect("an id");
    other.setups[0].name = "other".into();
    other.readings[0].setup = other.setups[0].id.clone();
    let refused = store
        .import(&other, IdPolicy::Keep)
        .expect_err("belongs elsewhere");
    assert!(matches!(refused, StoreError::Clash { .. }), "{refused}");
    assert_eq!(store.export_all().expect("an export"), before);
}

#[test]
fn what_was_removed_here_is_not_brought_back_by_an_import() {
    let (mut store, setup) = store_with("rear tray");
    let export = store.export_all().expect("an export");
    store.remove_set_up(&setup.id).expect("removed");
    let refused = store.import(&export, IdPolicy::Keep).expect_err("removed");
    assert_eq!(
        said(&refused),
        "the set-up \"rear tray\" is removed\nrestore it first"
    );
}

#[test]
fn removed_set_ups_and_readings_set_aside_travel_as_such() {
    let (mut store, setup) = store_with("rear tray");
    let r = reading(&setup, 1);
    store.add_reading(&r).expect("a reading");
    store
        .set_aside(&r.id, "fed with the next")
        .expect("set aside");
    store.remove_set_up(&setup.id).expect("removed");
    let mut other = imported_into_new_store(&store.export_all().expect("an export"));
    assert_eq!(other.set_ups().expect("a list"), []);
    other.restore_set_up(&setup.id, None).expect("restored");
    assert_eq!(other.readings_in_use(&setup.id).expect("readings"), []);
    assert_eq!(other.readings(&setup.id).expect("readings").len(), 1);
}

#[test]
fn one_set_up_is_exported_alone() {
    let (mut store, setup) = store_with("rear tray");
    let other = set_up("front tray");
    store.add_set_up(&other).expect("another");
    store
        .add_readings(&[reading(&setup, 1), reading(&other, 1)])
        .expect("readings");
    let export = store
        .export(std::slice::from_ref(&other.id))
        .expect("an export");
    assert_eq!(export.setups, [other]);
    assert_eq!(export.readings.len(), 1);
}

fn refused(text: &str) -> String {
    said(&Export::from_json(text.as_bytes()).expect_err(text))
}

#[test]
fn what_is_no_export_is_refused_with_the_reason() {
    for text in [
        "",
        "{",
        "[]",
        "null",
        "{}",
        "{\"schema\": 0}",
        "{\"schema\": 1}",
        "%PDF-1.7",
    ] {
        let message = refused(text);
        assert!(
            message.starts_with("this is not an export of set-ups: "),
            "{message}"
        );
        assert!(message.ends_with("\nchoose a file that was made by: tympan setup export"));
    }
    assert_eq!(
        refused("{\"schema\": 2, \"whatever\": []}"),
        "this export is of format 2; this version knows up to 1\nimport it with the newer version"
    );
    assert!(
        Export::from_json("\u{feff}{\"schema\":1,\"setups\":[],\"readings\":[]}".as_bytes())
            .is_ok()
    );
}

fn sample() -> Value {
    let (mut store, setup) = store_with("rear tray");
    store.add_reading(&reading(&setup, 1)).expect("a reading");
    serde_json::from_str(&store.export_all().expect("an export").to_json()).expect("json")
}

#[test]
fn unknown_fields_are_left_out_and_named() {
    let mut json = sample();
    json["setups"][0]["stock"]["colour"] = json!("cream");
    json["readings"][0]["mood"] = json!("good");
    let mut export = Export::from_json(json.to_string().as_bytes()).expect("still an export");
    export.ignored.sort();
    assert_eq!(export.ignored, ["readings.0.mood", "setups.0.stock.colour"]);
    let mut store = Store::open_in_memory().expect("a store");
    let done = store.import(&export, IdPolicy::Keep).expect("imported");
    assert_eq!(done.ignored, export.ignored);
}

#[test]
fn a_broken_record_is_refused_with_its_place() {
    let with = |spoil: fn(&mut Value)| {
        let mut json = sample();
        spoil(&mut json);
        refused(&json.to_string())
    };
    let message = with(|j| j["setups"][0]["paper"] = json!("parchment"));
    assert!(
        message.contains("parchment") && message.contains("line 1 column"),
        "{message}"
    );
    let message = with(|j| j["readings"][0]["setup"] = json!("NOBODY"));
    assert!(
        message.contains("belongs to NOBODY, which is not in it"),
        "{message}"
    );
    let message = with(|j| {
        let again = j["readings"][0].clone();
        j["readings"].as_array_mut().expect("a list").push(again);
    });
    assert!(message.contains("in it twice"), "{message}");
    let message = with(|j| j["readings"][0]["reading"]["observations"] = json!([]));
    assert!(message.contains("sheet 1"), "{message}");
    let message = with(|j| j["setups"][0]["name"] = json!("a\u{0}b"));
    assert!(message.contains("control character"), "{message}");
}

/// The JSON that docs/data-format.md describes; a change here is a change of the format.
#[test]
fn an_export_has_the_documented_form() {
    let moment: Timestamp = "2026-03-01T09:30:00Z".parse().expect("a moment");
    let (mut store, _) = store_with("scratch");
    let mut setup = set_up("Rear tray, 65 lb cover");
    setup.id = "K7Q2M9".parse().expect("an id");
    (setup.created, setup.changed) = (moment, moment);
    setup.unprintable = Some(Unprintable {
        top: 3.0,
        right: 3.4,
        bottom: 12.7,
        left: 3.4,
    });
    setup.sheets_issued = 3;
    store.add_set_up(&setup).expect("a set-up");
    let mut r = reading(&setup, 1);
    r.id = "3XG5B0W8QZ4D".parse().expect("an id");
    r.taken_at = moment;
    r.reading.observations.truncate(1);
    r.reading.link = Some([[0.01, 0.0, 0.0], [0.0, 0.01, 0.0], [0.0, 0.0, 0.0004]]);
    r.check_rules = CheckRules {
        front_across: Some(100.0),
        ..CheckRules::default()
    };
    r.residual = Some(0.08);
    r.warnings = vec!["the lower left hole is ragged".into()];
    r.evidence = Some("k7q2m9-1.png".into());
    r.set_aside = Some(SetAside {
        reason: "fed with the next sheet".into(),
        at: moment,
    });
    store.add_reading(&r).expect("a reading");
    insta::assert_snapshot!(store.export(&[setup.id]).expect("an export").to_json());
}

/// The first block of this language in docs/data-format.md.
fn documented(language: &str) -> &'static str {
    let page = include_str!("../../../docs/data-format.md");
    let (_, rest) = page
        .split_once(&format!("```{language}\n"))
        .expect("a block");
    rest.split_once("```").expect("its end").0
}

#[test]
fn the_documented_example_is_an_export() {
    let export = Export::from_json(documented("json").as_bytes()).expect("an export");
    assert_eq!(export.ignored, [""; 0]);
    let store = imported_into_new_store(&export);
    let back = serde_json::to_value(store.export_all().expect("an export")).expect("json");
    assert_eq!(
        back,
        serde_json::from_str::<Value>(documented("json")).expect("json")
    );
}

#[test]
fn the_documented_query_finds_readings() {
    let dir = tempfile::tempdir().expect("a folder");
    let mut store = Store::open(dir.path()).expect("a store");
    let setup = set_up("rear tray");
    store.add_set_up(&setup).expect("a set-up");
    let (a, b) = (reading(&setup, 1), reading(&setup, 2));
    store.add_readings(&[a, b.clone()]).expect("readings");
    store
        .set_aside(&b.id, "fed with the next")
        .expect("set aside");
    let db = rusqlite::Connection::open(store.file()).expect("SQLite");
    let mut query = db.prepare(documented("sql")).expect("sound SQL");
    let found = query
        .query_map([], |row| Ok((row.get(0)?, row.get(1)?)))
        .expect("rows");
    let found: Vec<(String, u32)> = found.collect::<Result<_, _>>().expect("rows");
    assert_eq!(found, [(setup.id.to_string(), 1)]);
}

fn number(range: std::ops::Range<f64>) -> impl Strategy<Value = f64> {
    prop_oneof![9 => range, 1 => Just(0.0), 1 => Just(-0.0), 1 => Just(f64::MIN_POSITIVE), 1 => Just(5e-324)]
}

fn moment() -> impl Strategy<Value = Timestamp> {
    (0..253_402_300_800_000_i64).prop_map(|ms| Timestamp::from_unix_ms(ms).expect("in range"))
}

fn line() -> impl Strategy<Value = String> {
    "[^\\p{C}]{0,30}"
}

prop_compose! {
    fn any_set_up()(
        name in "[a-zA-Zäß&<\"'\\\\/一-三🂡]{1,40}",
        paper in (50.0..1300.0, 50.0..1300.0),
        sides in any::<[bool; 3]>(),
        leading_edge in 0..4_usize,
        lines in prop::array::uniform7(line()),
        notes in ".{0,60}",
        stock in prop::option::of(60.0..400.0),
        margins in prop::option::of(prop::array::uniform4(number(0.0..30.0))),
        sheets_issued in 0..10_000_u32,
        times in (moment(), moment(), prop::option::of(moment())),
        press in any::<[bool; 6]>(),
    ) -> SetUp {
        let paper = Paper::of_size(Size::new(paper.0, paper.1)).expect("a size in range");
        let edges = [LeadingEdge::Head, LeadingEdge::Foot, LeadingEdge::Left, LeadingEdge::Right];
        let mut s = SetUp::new(&name, paper, if sides[0] { Flip::Sideways } else { Flip::Endways });
        s.flipped_by = if sides[1] { FlippedBy::Hand } else { FlippedBy::Machine };
        s.first_side = if sides[2] { Side::Front } else { Side::Back };
        s.leading_edge = edges[leading_edge];
        s.stock = stock.map(|g: f64| format!("{g:.3} g/m2").parse::<Stock>().expect("a stock"));
        [s.printer, s.program, s.driver, s.media_type, s.quality, s.ream, s.feed] = lines;
        s.notes = notes;
        s.unprintable =
            margins.map(|[top, right, bottom, left]| Unprintable { top, right, bottom, left });
        s.sheets_issued = sheets_issued;
        s.behaviour = press[0].then(|| Behaviour {
            first_page_on: PileEnd::BOTH[usize::from(press[1])],
            prints: Facing::BOTH[usize::from(press[2])],
            leads: edges[leading_edge],
            first_page_comes: PileEnd::BOTH[usize::from(press[3])],
            comes: Facing::BOTH[usize::from(press[4])],
        });
        s.tray = press[5].then(|| Tray { holds: Some(100), from: Some(1.0 / 3.0), to: None });
        (s.created, s.changed, s.removed) = times;
        s
    }
}

/// A run of which everything is known.
fn some_run(setup: &SetUp) -> RunRecord {
    let at = Timestamp::from_unix_ms(1_772_355_600_000).expect("a moment");
    RunRecord {
        made: at,
        state: RunState::Printing,
        copies: 2,
        stock: "65 lb cover".into(),
        first_side: Some(Side::Back),
        loads: vec![Span { from: 1, to: 20 }, Span { from: 21, to: 40 }],
        expected_rejects: Some(0.1 + 0.2),
        spoiled: vec![Spoiled {
            sheet: 17,
            why: "jam".into(),
            at,
        }],
        work: json!({ "inputs": ["game.pdf"], "field": [1.0, 0.1 + 0.2] }),
        ..RunRecord::new(setup.id.clone(), "Saltmarsh Ferry", 40)
    }
}

#[test]
fn runs_travel_with_their_set_up_and_not_twice() {
    let (mut store, setup) = store_with("rear tray");
    store.add_run(&some_run(&setup)).expect("a run");
    let export = store.export_all().expect("an export");
    let other = imported_into_new_store(&export);
    assert_eq!(other.runs(&setup.id).expect("runs"), export.runs);
    let read = Export::from_json(export.to_json().as_bytes()).expect("its own export");
    assert_eq!(read, export);
    let done = store.import(&export, IdPolicy::Keep).expect("known");
    assert_eq!(
        (done.setups[0].outcome, done.setups[0].runs_added),
        (Outcome::Known, 0)
    );
    assert_eq!(store.runs(&setup.id).expect("runs").len(), 1);
}

/// A reading names the run of its sheet; a copy's readings name the copy's run.
#[test]
fn a_copys_readings_name_the_copys_runs() {
    let (mut store, setup) = store_with("rear tray");
    let run = some_run(&setup);
    store.add_run(&run).expect("a run");
    let read = ReadingRecord {
        run: Some(run.id.to_string()),
        ..reading(&setup, 1)
    };
    store.add_readings(&[read]).expect("a reading");
    let export = store.export_all().expect("an export");
    let done = store.import(&export, IdPolicy::Renew).expect("a copy");
    let copy = &done.setups[0];
    assert_eq!(copy.runs_added, 1);
    let runs = store.runs(&copy.id).expect("runs");
    assert_ne!(runs[0].id, run.id);
    let readings = store.readings(&copy.id).expect("readings");
    assert_eq!(readings[0].run, Some(runs[0].id.to_string()));
}

#[test]
fn a_run_with_an_absurd_record_is_refused() {
    let (mut store, setup) = store_with("rear tray");
    let good = some_run(&setup);
    let spoiled = |sheet, why: &str| {
        let at = good.made;
        vec![Spoiled {
            sheet,
            why: why.into(),
            at,
        }]
    };
    for bad in [
        RunRecord {
            sheets: 0,
            ..good.clone()
        },
        RunRecord {
            name: String::new(),
            ..good.clone()
        },
        RunRecord {
            spoiled: spoiled(41, "jam"),
            ..good.clone()
        },
        RunRecord {
            spoiled: spoiled(17, " "),
            ..good.clone()
        },
        RunRecord {
            loads: vec![Span { from: 3, to: 2 }],
            ..good.clone()
        },
        RunRecord {
            expected_rejects: Some(1.5),
            ..good.clone()
        },
    ] {
        let error = store.add_run(&bad).expect_err("refused");
        assert!(matches!(error, StoreError::BadRun { .. }), "{error}");
    }
}

#[test]
fn a_run_is_undone_only_before_paper_moves() {
    let (mut store, setup) = store_with("rear tray");
    let ready = RunRecord {
        state: RunState::Ready,
        ..some_run(&setup)
    };
    store.add_run(&ready).expect("a run");
    assert_eq!(store.last_run().expect("a store"), Some(ready.clone()));
    let undone = RunRecord {
        state: RunState::Undone,
        ..ready.clone()
    };
    store.change_run(&undone).expect("undone");
    assert_eq!(store.last_run().expect("a store"), None);
    let printing = RunRecord {
        state: RunState::Printing,
        ..some_run(&setup)
    };
    store.add_run(&printing).expect("a run");
    let late = RunRecord {
        state: RunState::Undone,
        ..printing
    };
    let error = store.change_run(&late).expect_err("too late");
    assert!(matches!(error, StoreError::PaperMoved(_)), "{error}");
    assert!(said(&error).contains("run --again"), "{}", said(&error));
    let words: Vec<String> = store
        .history(&setup.id)
        .expect("a log")
        .iter()
        .filter(|event| event.run.is_some())
        .map(|event| serde_json::to_string(&event.what).expect("a word"))
        .collect();
    assert_eq!(words, ["\"run_made\"", "\"run_undone\"", "\"run_made\""]);
}

prop_compose! {
    fn point()(
        at in (number(-50.0..1300.0), number(-50.0..1300.0)),
        error in (number(-60.0..60.0), number(-60.0..60.0)),
        sd in (1e-4..5.0, 1e-4..5.0),
        correlation in number(-0.99..0.99),
    ) -> Observation {
        let both = sd.0 * sd.1 * correlation;
        Observation {
            at: Point::new(at.0, at.1),
            error: Vector::new(error.0, error.1),
            variance: [[sd.0 * sd.0, both], [both, sd.1 * sd.1]],
        }
    }
}

prop_compose! {
    fn any_reading()(
        points in prop::collection::vec(point(), 1..8),
        link in prop::option::of(prop::array::uniform3(1e-6..1.0)),
        sheet in prop::option::of(1..10_000_u32),
        way in "pin|ruler|scans|photo|witness|something_new",
        back_first in any::<bool>(),
        rules in prop::array::uniform4(prop::option::of(90.0..110.0)),
        residual in prop::option::of(0.0..2.0),
        warnings in prop::collection::vec(line(), 0..3),
        files in (prop::option::of("[a-z0-9é]{1,20}\\.png"), prop::option::of("[a-zA-Z0-9 ]{1,20}")),
        taken_at in moment(),
        aside in prop::option::of(("[a-zé]{1,30}", moment())),
    ) -> ReadingRecord {
        let mut reading = Reading::new(points);
        reading.link = link.map(|[x, y, t]: [f64; 3]| [[x, 0.0, -0.0], [0.0, y, 0.0], [-0.0, 0.0, t]]);
        let side = if back_first { Side::Back } else { Side::Front };
        let mut r = ReadingRecord::new("NONE".parse().expect("an id"), Way::from(way), side, reading);
        let [front_across, front_along, back_across, back_along] = rules;
        r.check_rules = CheckRules { front_across, front_along, back_across, back_along };
        (r.sheet, r.taken_at, r.residual, r.warnings) = (sheet, taken_at, residual, warnings);
        (r.evidence, r.run) = files;
        r.set_aside = aside.map(|(reason, at)| SetAside { reason, at });
        r
    }
}

/// The bits of every number, as `==` takes the two zeros for one.
fn bits(export: &Export) -> Vec<u64> {
    export
        .readings
        .iter()
        .flat_map(|r| {
            let points = r.reading.observations.iter().flat_map(|o| {
                let [[a, b], [c, d]] = o.variance;
                [o.at.x, o.at.y, o.error.x, o.error.y, a, b, c, d]
            });
            let link = r.reading.link.into_iter().flatten().flatten();
            let rules = &r.check_rules;
            let rest = [
                rules.front_across,
                rules.front_along,
                rules.back_across,
                rules.back_along,
            ];
            points
                .chain(link)
                .chain(rest.into_iter().flatten())
                .chain(r.residual)
                .collect::<Vec<_>>()
        })
        .map(f64::to_bits)
        .collect()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn an_export_imports_exactly_as_it_was(
        sets in prop::collection::vec((any_set_up(), prop::collection::vec(any_reading(), 0..4)), 0..4),
    ) {
        let mut export = Store::open_in_memory().expect("a store").export_all().expect("an export");
        let mut names = std::collections::HashSet::new();
        for (setup, readings) in sets {
            if !names.insert(setup.name.to_lowercase()) {
                continue;
            }
            let id = setup.id.clone();
            export.readings.extend(readings.into_iter().map(|r| ReadingRecord { setup: id.clone(), ..r }));
            export.setups.push(setup);
        }
        let store = imported_into_new_store(&export);
        let first = store.export_all().expect("an export");
        // The store lists set-ups by name; their readings follow.
        let key = |s: &SetUp| (s.name.to_lowercase(), s.id.clone());
        export.setups.sort_by_key(key);
        let place = |r: &ReadingRecord| export.setups.iter().position(|s| s.id == r.setup);
        export.readings.sort_by_key(place);
        prop_assert_eq!(&first, &export);
        prop_assert_eq!(bits(&first), bits(&export));

        let read = Export::from_json(first.to_json().as_bytes()).expect("its own export");
        prop_assert_eq!(bits(&read), bits(&export));
        let second = imported_into_new_store(&read).export_all().expect("an export");
        prop_assert_eq!(second.to_json(), first.to_json());
    }

    #[test]
    fn any_bytes_are_read_or_refused(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
        let _ = Export::from_json(&bytes);
    }

    /// A real export with some of its values exchanged for others: read and imported, or refused.
    #[test]
    fn a_spoilt_export_never_brings_the_store_down(
        spoils in prop::collection::vec((any::<prop::sample::Index>(), any_json()), 1..4),
        policy in prop_oneof![Just(IdPolicy::Keep), Just(IdPolicy::Renew)],
    ) {
        let mut json = sample();
        for (index, value) in spoils {
            let mut places = Vec::new();
            collect_places(&json, String::new(), &mut places);
            let place = index.get(&places).clone();
            *json.pointer_mut(&place).expect("a place in it") = value;
        }
        if let Ok(export) = Export::from_json(json.to_string().as_bytes()) {
            let mut store = Store::open_in_memory().expect("a store");
            if store.import(&export, policy).is_ok() {
                let kept = store.export_all().expect("what came in goes out");
                prop_assert_eq!(kept.readings.len(), export.readings.len());
            }
            store.check().expect("sound");
        }
    }
}

fn collect_places(json: &Value, at: String, places: &mut Vec<String>) {
    match json {
        Value::Object(fields) => {
            for (name, value) in fields {
                collect_places(value, format!("{at}/{name}"), places);
            }
        }
        Value::Array(items) => {
            for (i, value) in items.iter().enumerate() {
                collect_places(value, format!("{at}/{i}"), places);
            }
        }
        _ => {}
    }
    places.push(at);
}

fn any_json() -> impl Strategy<Value = Value> {
    let leaf = prop_oneof![
        Just(Value::Null),
        any::<bool>().prop_map(Value::from),
        any::<f64>().prop_map(Value::from),
        any::<i64>().prop_map(Value::from),
        ".{0,20}".prop_map(Value::from),
    ];
    leaf.prop_recursive(3, 12, 4, |inner| {
        prop_oneof![
            prop::collection::vec(inner.clone(), 0..4).prop_map(Value::from),
            prop::collection::hash_map("[a-z_]{1,8}", inner, 0..4)
                .prop_map(|m| Value::Object(m.into_iter().collect())),
        ]
    })
}

#[test]
fn witness_marks_travel_with_their_set_up_and_go_with_it() {
    let (mut store, set_up) = store_with("rear");
    let marks = serde_json::json!({"strips": [1, 2]});
    let record = WitnessRecord::new("7FERY".into(), set_up.id.clone(), "Saltmarsh  Ferry", marks);
    assert_eq!(record.name, "Saltmarsh Ferry");
    store.add_witness(&record).expect("kept");
    store.add_witness(&record).expect("kept once more");
    assert_eq!(
        store.witnesses(&set_up.id).expect("read"),
        std::slice::from_ref(&record)
    );
    let other = WitnessRecord {
        name: "Tiles".into(),
        ..record.clone()
    };
    let taken = store.add_witness(&other).expect_err("another job's code");
    assert!(matches!(taken, StoreError::IdTaken(_)), "{taken}");
    let bad = WitnessRecord {
        code: "7 FERY".into(),
        ..record.clone()
    };
    let said = store.add_witness(&bad).expect_err("no code").to_string();
    assert!(said.contains("cannot be kept"), "{said}");

    let export = store.export_all().expect("exported");
    let export = Export::from_json(export.to_json().as_bytes()).expect("an export");
    let mut there = Store::open_in_memory().expect("a store");
    there.import(&export, IdPolicy::Keep).expect("imported");
    there
        .import(&export, IdPolicy::Keep)
        .expect("imported again");
    assert_eq!(there.witnesses(&set_up.id).expect("read"), [record]);
    there.import(&export, IdPolicy::Renew).expect("a copy");
    there.remove_set_up(&set_up.id).expect("removed");
    there
        .purge_set_up(&set_up.id)
        .expect("purged, marks and all");
    assert_eq!(there.witnesses(&set_up.id).expect("read"), []);
}
