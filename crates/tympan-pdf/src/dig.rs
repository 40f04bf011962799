//! Digging in the objects of a file that may be damaged: nothing here trusts a type.

use qpdf::{
    QPdf, QPdfArray, QPdfDictionary, QPdfObject, QPdfObjectLike, QPdfObjectType, QPdfScalar,
    QPdfStream,
};

use crate::space::UserRect;

/// How far up the page tree an attribute is looked for. Deeper trees are loops or traps.
const MAX_DEPTH: usize = 100;

/// An indirect object's number and generation; `(0, 0)` for a direct one.
pub(crate) type Id = (u32, u32);

pub(crate) fn id(object: &impl QPdfObjectLike) -> Id {
    if object.is_indirect() {
        (object.get_id(), object.get_generation())
    } else {
        (0, 0)
    }
}

pub(crate) fn as_number(object: QPdfObject) -> Option<f64> {
    let is_number = matches!(
        object.get_type(),
        QPdfObjectType::Integer | QPdfObjectType::Real
    );
    let value = is_number.then(|| QPdfScalar::from(object).as_f64())?;
    value.is_finite().then_some(value)
}

pub(crate) fn as_dictionary(object: QPdfObject) -> Option<QPdfDictionary> {
    (object.get_type() == QPdfObjectType::Dictionary).then(|| object.into())
}

pub(crate) fn as_array(object: QPdfObject) -> Option<QPdfArray> {
    (object.get_type() == QPdfObjectType::Array).then(|| object.into())
}

pub(crate) fn as_stream(object: QPdfObject) -> Option<QPdfStream> {
    (object.get_type() == QPdfObjectType::Stream).then(|| object.into())
}

pub(crate) fn dictionary(from: &QPdfDictionary, key: &str) -> Option<QPdfDictionary> {
    from.get(key).and_then(as_dictionary)
}

pub(crate) fn array(from: &QPdfDictionary, key: &str) -> Option<QPdfArray> {
    from.get(key).and_then(as_array)
}

pub(crate) fn integer(from: &QPdfDictionary, key: &str) -> Option<i64> {
    let object = from.get(key)?;
    (object.get_type() == QPdfObjectType::Integer).then(|| QPdfScalar::from(object).as_i64())
}

pub(crate) fn name(from: &QPdfDictionary, key: &str) -> Option<String> {
    let object = from.get(key)?;
    (object.get_type() == QPdfObjectType::Name).then(|| object.as_name())
}

/// All the numbers of an array; `None` where one of them is none.
pub(crate) fn numbers(from: &QPdfArray) -> Option<Vec<f64>> {
    from.iter().map(as_number).collect()
}

pub(crate) fn rect(object: QPdfObject) -> Option<UserRect> {
    let array = as_array(object)?;
    if array.len() != 4 {
        return None;
    }
    let n = numbers(&array)?;
    Some(UserRect::new(n[0], n[1], n[2], n[3]))
}

/// A page's attribute, or its nearest ancestor's (ISO 32000-1, 7.7.3.4).
pub(crate) fn inherited(page: &QPdfDictionary, key: &str) -> Option<QPdfObject> {
    if let Some(own) = page.get(key) {
        return Some(own);
    }
    let mut node = dictionary(page, "/Parent");
    for _ in 0..MAX_DEPTH {
        let here = node?;
        if let Some(found) = here.get(key) {
            return Some(found);
        }
        node = dictionary(&here, "/Parent");
    }
    None
}

/// An array of numbers as a new object.
pub(crate) fn new_numbers(qpdf: &QPdf, numbers: &[f64]) -> QPdfObject {
    qpdf.new_array_from(
        numbers
            .iter()
            .map(|&n| qpdf.new_real_from_string(&crate::space::number(n)).into()),
    )
    .into()
}

pub(crate) fn new_rect(qpdf: &QPdf, rect: &UserRect) -> QPdfObject {
    new_numbers(qpdf, &[rect.x0, rect.y0, rect.x1, rect.y1])
}

/// A dictionary with the same entries; what they refer to is shared.
pub(crate) fn shallow_copy(qpdf: &QPdf, from: &QPdfDictionary) -> QPdfDictionary {
    let copy = qpdf.new_dictionary();
    for key in from.keys() {
        if let Some(value) = from.get(&key) {
            copy.set(&key, value);
        }
    }
    copy
}

/// A new stream with the same bytes and dictionary as this one, both its own.
pub(crate) fn copy_stream(qpdf: &QPdf, from: &QPdfStream) -> qpdf::Result<QPdfStream> {
    let data = from.get_data(qpdf::StreamDecodeLevel::None)?;
    let copy = qpdf.new_stream([]);
    let old = from.get_dictionary();
    let new = copy.get_dictionary();
    for key in old.keys() {
        if let (false, Some(value)) = (key == "/Length", old.get(&key)) {
            new.set(&key, value);
        }
    }
    let null = || qpdf.new_null();
    let (filter, parms) = (old.get("/Filter"), old.get("/DecodeParms"));
    let bytes: &[u8] = if data.is_empty() { &[] } else { &data };
    copy.replace_data(
        bytes,
        filter.unwrap_or_else(null),
        parms.unwrap_or_else(null),
    );
    Ok(copy)
}
