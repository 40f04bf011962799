use ipp::parser::IppParser;
use ipp::prelude::*;
use ipp::reader::IppReader;
use proptest::prelude::*;
use std::collections::BTreeMap;

use super::*;

/// An answer as the protocol's standard lays it out, put together by hand: a printer's
/// `media-col-database` whose one entry has two values for `media-color` and a collection inside
/// (RFC 8010, 3.1.6 and 3.5).
fn database() -> Vec<u8> {
    let mut bytes = vec![2, 0, 0, 0, 0, 0, 0, 1];
    let mut put = |tag: u8, name: &str, value: &[u8]| {
        bytes.push(tag);
        bytes.extend((name.len() as u16).to_be_bytes());
        bytes.extend(name.as_bytes());
        bytes.extend((value.len() as u16).to_be_bytes());
        bytes.extend(value);
    };
    put(0x34, "media-col-database", b"");
    put(0x4a, "", b"media-size");
    put(0x34, "", b"");
    put(0x4a, "", b"x-dimension");
    put(0x21, "", &21000_i32.to_be_bytes());
    put(0x4a, "", b"y-dimension");
    put(0x21, "", &29700_i32.to_be_bytes());
    put(0x37, "", b"");
    put(0x4a, "", b"media-color");
    put(0x44, "", b"white");
    put(0x44, "", b"ivory");
    put(0x4a, "", b"media-source");
    put(0x44, "", b"rear");
    put(0x37, "", b"");
    put(0x34, "", b"");
    put(0x4a, "", b"media-source");
    put(0x44, "", b"main");
    put(0x37, "", b"");
    let mut whole = bytes[..8].to_vec();
    whole.push(PRINTER);
    whole.extend(&bytes[8..]);
    whole.push(END_OF_ATTRIBUTES);
    whole
}

#[test]
fn every_value_of_a_list_inside_a_collection_is_kept() {
    let answer = Answer::read(&database()).expect("sound");
    let printer = answer.group(PRINTER).expect("a group");
    let entries: Vec<&Attributes> = printer.collections("media-col-database").collect();
    assert_eq!(entries.len(), 2);
    assert_eq!(entries[0].texts("media-color"), ["white", "ivory"]);
    assert_eq!(entries[0].text("media-source"), Some("rear"));
    let size = entries[0].collection("media-size").expect("a size");
    assert_eq!(size.integer("x-dimension"), Some(21000));
    assert_eq!(size.integer("y-dimension"), Some(29700));
    assert_eq!(entries[1].text("media-source"), Some("main"));
}

/// If this fails, the `ipp` crate has learnt to read such lists: then its own parser may do.
#[test]
fn the_ipp_crate_still_loses_later_values_which_is_why_answers_are_read_here() {
    let bytes = std::io::Cursor::new(database());
    let read = IppParser::new(IppReader::new(bytes)).parse();
    let kept = read.ok().is_some_and(|answer| {
        let text = format!("{:?}", answer.attributes());
        text.contains("ivory") && text.contains("rear")
    });
    assert!(!kept);
}

#[test]
fn what_the_ipp_crate_writes_is_read_back_whole() {
    let keyword = |text: &str| IppValue::Keyword(text.try_into().expect("short"));
    let mut members = BTreeMap::new();
    let colors = IppValue::Array(vec![keyword("white"), keyword("ivory"), keyword("grey")]);
    members.insert("media-color".try_into().expect("short"), colors);
    let mut size = BTreeMap::new();
    size.insert(
        "x-dimension".try_into().expect("short"),
        IppValue::RangeOfInteger {
            min: 8900,
            max: 21590,
        },
    );
    members.insert(
        "media-size".try_into().expect("short"),
        IppValue::Collection(size),
    );
    let mut response =
        IppRequestResponse::new_response(IppVersion::v2_0(), StatusCode::SuccessfulOk, 7)
            .expect("a response");
    let mut add = |name: &str, value: IppValue| {
        let attribute = IppAttribute::with_name(name, value).expect("a name");
        let attributes = response.attributes_mut();
        attributes.add(DelimiterTag::PrinterAttributes, attribute);
    };
    add("media-col-ready", IppValue::Collection(members));
    add(
        "printer-resolution-supported",
        IppValue::Array(vec![
            IppValue::new_resolution(600, 600, 3),
            IppValue::new_resolution(100, 100, 4),
        ]),
    );
    add("color-supported", IppValue::Boolean(true));
    add("pages-per-minute", IppValue::Integer(20));
    let answer = Answer::read(&response.to_bytes()).expect("sound");
    let printer = answer.group(PRINTER).expect("a group");
    let ready = printer.collection("media-col-ready").expect("an entry");
    assert_eq!(ready.texts("media-color"), ["white", "ivory", "grey"]);
    let size = ready.collection("media-size").expect("a size");
    assert_eq!(size.first("x-dimension"), Some(&Value::Range(8900, 21590)));
    assert_eq!(
        printer.all("printer-resolution-supported"),
        [
            Value::Resolution(600.0, 600.0),
            Value::Resolution(254.0, 254.0)
        ]
    );
    assert_eq!(printer.boolean("color-supported"), Some(true));
    assert_eq!(printer.integer("pages-per-minute"), Some(20));
}

#[test]
fn a_text_whose_inner_length_lies_is_passed_over() {
    let mut bytes = vec![2, 0, 0, 0, 0, 0, 0, 1, PRINTER];
    // textWithLanguage that says 255 bytes of language and has two.
    bytes.extend([0x35, 0, 1, b'a', 0, 4, 0, 255, b'e', b'n']);
    bytes.extend([0x21, 0, 1, b'b', 0, 1, 9]);
    bytes.extend([0x44, 0, 1, b'c', 0, 2, b'o', b'k', END_OF_ATTRIBUTES]);
    let answer = Answer::read(&bytes).expect("sound");
    let printer = answer.group(PRINTER).expect("a group");
    assert_eq!(printer.first("a"), Some(&Value::Nothing));
    assert_eq!(printer.first("b"), Some(&Value::Nothing));
    assert_eq!(printer.text("c"), Some("ok"));
}

#[test]
fn of_an_attribute_that_comes_twice_the_first_is_taken() {
    let mut bytes = vec![2, 0, 0, 0, 0, 0, 0, 1, PRINTER];
    bytes.extend([0x44, 0, 1, b'a', 0, 1, b'x', 0x44, 0, 0, 0, 1, b'y']);
    bytes.extend([0x44, 0, 1, b'a', 0, 1, b'z', 0x44, 0, 0, 0, 1, b'w']);
    bytes.extend([0x44, 0, 1, b'b', 0, 1, b'v', END_OF_ATTRIBUTES]);
    let answer = Answer::read(&bytes).expect("sound");
    let printer = answer.group(PRINTER).expect("a group");
    assert_eq!(printer.texts("a"), ["x", "y"]);
    assert_eq!(printer.texts("b"), ["v"]);
}

#[test]
fn an_answer_cut_short_or_nested_without_end_is_refused() {
    let whole = database();
    for end in 0..whole.len() {
        let read = Answer::read(&whole[..end]);
        assert_eq!(read, Err(AnswerError::Short), "cut at {end}");
    }
    let mut deep = vec![2, 0, 0, 0, 0, 0, 0, 1, PRINTER, 0x34, 0, 1, b'a', 0, 0];
    for _ in 0..100_000 {
        deep.extend([0x4a, 0, 0, 0, 1, b'm', 0x34, 0, 0, 0, 0]);
    }
    assert_eq!(Answer::read(&deep), Err(AnswerError::Deep));
}

proptest! {
    #[test]
    fn any_bytes_are_read_or_refused(bytes in proptest::collection::vec(any::<u8>(), 0..400)) {
        let _ = Answer::read(&bytes);
    }

    #[test]
    fn a_damaged_answer_is_read_or_refused(at in 8_usize..150, byte in any::<u8>()) {
        let mut bytes = database();
        let at = at % bytes.len();
        bytes[at] = byte;
        let _ = Answer::read(&bytes);
    }
}
