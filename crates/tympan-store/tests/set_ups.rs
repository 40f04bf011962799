//! Set-ups and readings through the store's own calls.

mod support;

use support::{reading, said, set_up, store_with};
use tympan_sheet::{Flip, Side};
use tympan_store::{Happening, SetUpId, Store, StoreError};

#[test]
fn a_set_up_is_found_by_its_name_in_any_case() {
    let (store, setup) = store_with("Rear tray, Größe A4");
    for name in [
        "Rear tray, Größe A4",
        "rear TRAY, GRÖSSE a4".replace("SS", "ß").as_str(),
        "  rear  tray, größe a4 ",
    ] {
        assert_eq!(store.set_up_named(name).expect(name), setup);
    }
    assert_eq!(store.set_up(&setup.id).expect("its id"), setup);
}

#[test]
fn two_set_ups_cannot_share_a_name() {
    let (mut store, _) = store_with("rear tray");
    let refused = store.add_set_up(&set_up("REAR tray")).expect_err("taken");
    assert_eq!(
        said(&refused),
        "there is a set-up named \"rear tray\" already\n\
         choose another name, or rename or remove the other one"
    );
    let other = set_up("front tray");
    store.add_set_up(&other).expect("another name");
    let refused = store
        .rename_set_up(&other.id, "Rear Tray")
        .expect_err("taken");
    assert!(matches!(refused, StoreError::NameTaken(_)), "{refused}");
}

#[test]
fn a_set_up_may_change_the_case_of_its_own_name() {
    let (mut store, setup) = store_with("rear tray");
    let renamed = store
        .rename_set_up(&setup.id, "Rear Tray")
        .expect("its own name");
    assert_eq!(renamed.name, "Rear Tray");
    assert_eq!(store.set_ups().expect("a list"), [renamed]);
}

#[test]
fn an_unknown_name_lists_those_there_are() {
    let (store, _) = store_with("rear tray");
    let refused = store.set_up_named("front").expect_err("unknown");
    assert_eq!(
        said(&refused),
        "there is no set-up named \"front\"\nthere are: rear tray"
    );
    let empty = Store::open_in_memory().expect("a store");
    let refused = empty.set_up_named("front").expect_err("unknown");
    assert!(
        refused.hint().contains("tympan setup new"),
        "{}",
        refused.hint()
    );
}

#[test]
fn a_removed_set_up_comes_back_with_its_readings() {
    let (mut store, setup) = store_with("rear tray");
    store.add_reading(&reading(&setup, 1)).expect("a reading");
    store.remove_set_up(&setup.id).expect("removed");
    assert_eq!(store.set_ups().expect("a list"), []);
    let refused = store.set_up_named("rear tray").expect_err("removed");
    assert!(refused.hint().contains("restore"), "{}", refused.hint());
    let refused = store.add_reading(&reading(&setup, 2)).expect_err("removed");
    assert!(matches!(refused, StoreError::Removed(_)), "{refused}");

    store.restore_set_up(&setup.id, None).expect("restored");
    assert_eq!(store.readings(&setup.id).expect("readings").len(), 1);
    assert_eq!(store.set_up_named("rear tray").expect("back").removed, None);
}

#[test]
fn the_name_of_a_removed_set_up_is_free_and_asked_about_on_restoring() {
    let (mut store, first) = store_with("rear tray");
    store.remove_set_up(&first.id).expect("removed");
    store
        .add_set_up(&set_up("rear tray"))
        .expect("the name is free");
    let refused = store
        .restore_set_up(&first.id, None)
        .expect_err("taken meanwhile");
    assert!(matches!(refused, StoreError::NameTaken(_)), "{refused}");
    let back = store
        .restore_set_up(&first.id, Some("rear tray, old"))
        .expect("another name");
    assert_eq!((back.id, back.name.as_str()), (first.id, "rear tray, old"));
}

#[test]
fn only_what_was_removed_is_deleted_for_good_and_it_is_said() {
    let (mut store, setup) = store_with("rear tray");
    store
        .add_readings(&[reading(&setup, 1), reading(&setup, 2)])
        .expect("readings");
    let refused = store.purge_set_up(&setup.id).expect_err("in use");
    assert!(matches!(refused, StoreError::NotRemoved(_)), "{refused}");
    store.remove_set_up(&setup.id).expect("removed");
    let gone = store.purge_set_up(&setup.id).expect("removed before");
    assert_eq!((gone.name.as_str(), gone.readings), ("rear tray", 2));
    assert!(matches!(
        store.set_up(&setup.id),
        Err(StoreError::UnknownSetUpId(_))
    ));
    let last = store
        .history(&setup.id)
        .expect("a log")
        .pop()
        .expect("a line");
    assert_eq!(last.what, Happening::Purged);
    assert_eq!(last.before.expect("the record")["name"], "rear tray");
}

#[test]
fn what_gives_readings_their_meaning_cannot_change_under_them() {
    let (mut store, mut setup) = store_with("rear tray");
    setup.flip = Flip::Endways;
    store.change_set_up(&setup).expect("no readings yet");
    store.add_reading(&reading(&setup, 1)).expect("a reading");
    setup.notes = "fanned".into();
    store.change_set_up(&setup).expect("notes may change");
    setup.first_side = Side::Back;
    let refused = store
        .change_set_up(&setup)
        .expect_err("the readings were fronts first");
    assert_eq!(
        said(&refused),
        "the first side of \"rear tray\" cannot change: it has 1 readings taken with the old one\n\
         another way of working is another set-up: copy this one and change the copy"
    );
    let kept = store.set_up(&setup.id).expect("still there");
    assert_eq!(
        (kept.first_side, kept.notes.as_str()),
        (Side::Front, "fanned")
    );
}

#[test]
fn a_copy_has_the_details_and_no_readings() {
    let (mut store, setup) = store_with("rear tray");
    store.add_reading(&reading(&setup, 1)).expect("a reading");
    store.issue_sheets(&setup.id, 3).expect("numbers");
    let copy = store.copy_set_up(&setup.id, "by machine").expect("a copy");
    assert_ne!(copy.id, setup.id);
    assert_eq!(
        (copy.stock, copy.feed, copy.sheets_issued),
        (setup.stock, setup.feed, 0)
    );
    assert_eq!(store.reading_count(&copy.id).expect("a count"), 0);
}

#[test]
fn sheet_numbers_are_never_given_twice() {
    let (mut store, setup) = store_with("rear tray");
    assert_eq!(store.issue_sheets(&setup.id, 3).expect("numbers"), 1..=3);
    assert_eq!(store.issue_sheets(&setup.id, 1).expect("numbers"), 4..=4);
    for count in [9996, u32::MAX] {
        let refused = store
            .issue_sheets(&setup.id, count)
            .expect_err("beyond the last");
        assert!(refused.to_string().contains("4 of 9999"), "{refused}");
    }
    assert_eq!(
        store.issue_sheets(&setup.id, 9995).expect("numbers"),
        5..=9999
    );
}

#[test]
fn several_readings_are_stored_all_or_none() {
    let (mut store, setup) = store_with("rear tray");
    let mut bad = reading(&setup, 2);
    bad.reading.observations[1].error.x = f64::NAN;
    let refused = store
        .add_readings(&[reading(&setup, 1), bad])
        .expect_err("not a number");
    assert!(said(&refused).contains("sheet 2"), "{refused}");
    assert_eq!(store.readings(&setup.id).expect("readings"), []);
    assert!(
        store
            .history(&setup.id)
            .expect("a log")
            .iter()
            .all(|e| e.reading.is_none())
    );

    let mut stray = reading(&setup, 3);
    stray.setup = SetUpId::random();
    let refused = store
        .add_readings(&[reading(&setup, 1), stray])
        .expect_err("of no set-up");
    assert!(
        matches!(refused, StoreError::UnknownSetUpId(_)),
        "{refused}"
    );
    assert_eq!(store.readings(&setup.id).expect("readings"), []);
}

#[test]
fn the_same_reading_is_not_stored_twice() {
    let (mut store, setup) = store_with("rear tray");
    let r = reading(&setup, 1);
    store.add_reading(&r).expect("new");
    let refused = store.add_reading(&r).expect_err("stored");
    assert!(matches!(refused, StoreError::IdTaken(_)), "{refused}");
}

#[test]
fn a_reading_set_aside_is_kept_and_comes_back() {
    let (mut store, setup) = store_with("rear tray");
    let (a, b) = (reading(&setup, 1), reading(&setup, 2));
    store
        .add_readings(&[a.clone(), b.clone()])
        .expect("readings");
    let refused = store.set_aside(&a.id, "  ").expect_err("why?");
    assert!(matches!(refused, StoreError::NoReason), "{refused}");

    let aside = store.set_aside(&a.id, "fed with b ").expect("set aside");
    assert_eq!(aside.set_aside.as_ref().expect("why").reason, "fed with b");
    assert!(matches!(
        store.set_aside(&a.id, "x"),
        Err(StoreError::AlreadySetAside(_))
    ));
    assert_eq!(
        store.readings_in_use(&setup.id).expect("readings"),
        std::slice::from_ref(&b)
    );
    assert_eq!(
        store.readings(&setup.id).expect("readings"),
        [aside, b.clone()]
    );

    assert_eq!(store.bring_back(&a.id).expect("back"), a);
    assert!(matches!(
        store.bring_back(&a.id),
        Err(StoreError::NotSetAside(_))
    ));
    assert_eq!(store.readings_in_use(&setup.id).expect("readings"), [a, b]);
}

#[test]
fn readings_replace_others_all_at_once_or_not_at_all() {
    let (mut store, setup) = store_with("rear tray");
    let (old, new) = (reading(&setup, 1), reading(&setup, 1));
    store.add_reading(&old).expect("a reading");
    let twice = [new.clone(), new.clone()];
    let refused = store.replace_readings(std::slice::from_ref(&old.id), &twice, "read again");
    assert!(
        matches!(refused, Err(StoreError::IdTaken(_))),
        "{refused:?}"
    );
    assert_eq!(
        store.readings_in_use(&setup.id).expect("readings"),
        std::slice::from_ref(&old)
    );
    store
        .replace_readings(&[old.id], &twice[..1], "read again")
        .expect("replaced");
    assert_eq!(store.readings_in_use(&setup.id).expect("readings"), [new]);
}

#[test]
fn the_log_tells_what_happened_in_order_and_what_was_before() {
    let (mut store, setup) = store_with("rear tray");
    let r = reading(&setup, 1);
    store.rename_set_up(&setup.id, "rear").expect("renamed");
    store.add_reading(&r).expect("a reading");
    store
        .set_aside(&r.id, "fed with the next")
        .expect("set aside");
    store.bring_back(&r.id).expect("back");
    store.remove_set_up(&setup.id).expect("removed");
    store.restore_set_up(&setup.id, None).expect("restored");
    let log = store.history(&setup.id).expect("a log");
    use Happening::*;
    let what: Vec<_> = log.iter().map(|e| e.what).collect();
    assert_eq!(
        what,
        [
            Created,
            Changed,
            ReadingAdded,
            SetAside,
            BroughtBack,
            Removed,
            Restored
        ]
    );
    assert_eq!(
        log[1].before.as_ref().expect("the old record")["name"],
        "rear tray"
    );
    let before = &log[4].before.as_ref().expect("the old record")["set_aside"]["reason"];
    assert_eq!(before, "fed with the next");
    assert_eq!(log[3].reading.as_ref(), Some(&r.id));
}
