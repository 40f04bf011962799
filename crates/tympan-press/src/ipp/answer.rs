//! Reading what a printer answers (RFC 8010, 3.1).
//!
//! Printers break the rules of encoding now and then, so a value that makes no sense is kept as
//! [`Value::Nothing`]; only an answer whose structure cannot be followed is refused.

use std::collections::BTreeMap;

/// Collections inside collections, more deeply than any standard attribute.
const DEEPEST: usize = 12;

/// Why an answer cannot be read.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum AnswerError {
    /// It ends in the middle.
    #[error("the answer ends in the middle")]
    Short,
    /// A value stands where none may.
    #[error("the answer is garbled at byte {at}")]
    Garbled {
        /// Where, bytes from its start.
        at: usize,
    },
    /// Collections inside collections without end.
    #[error("the answer is nested too deeply")]
    Deep,
}

/// An answer: its status and its groups of attributes.
#[derive(Clone, Debug, PartialEq)]
pub struct Answer {
    /// The status code (RFC 8011, appendix B).
    pub status: u16,
    /// The groups in their order.
    pub groups: Vec<Group>,
}

/// A group of attributes.
#[derive(Clone, Debug, PartialEq)]
pub struct Group {
    /// The delimiter tag (RFC 8010, 3.5.1).
    pub tag: u8,
    /// What it holds.
    pub attributes: Attributes,
}

/// Attributes, or the members of a collection, by name.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Attributes(BTreeMap<String, Vec<Value>>);

/// A value.
#[derive(Clone, Debug, PartialEq)]
pub enum Value {
    /// `integer` or `enum`.
    Integer(i32),
    /// `boolean`.
    Boolean(bool),
    /// Any kind of string: `keyword`, `name`, `text`, `uri`, `mimeMediaType` and so on.
    Text(String),
    /// `rangeOfInteger`.
    Range(i32, i32),
    /// `resolution`, in dots per inch: across the feed, along the feed.
    Resolution(f64, f64),
    /// `collection`.
    Collection(Attributes),
    /// `octetString`.
    Octets(Vec<u8>),
    /// An out-of-band value (`no-value`, `unknown`), or one that cannot be read.
    Nothing,
}

const DELIMITERS: std::ops::RangeInclusive<u8> = 0x00..=0x0f;
const END_OF_ATTRIBUTES: u8 = 0x03;
const BEGIN_COLLECTION: u8 = 0x34;
const END_COLLECTION: u8 = 0x37;
const MEMBER_NAME: u8 = 0x4a;

/// The group of job attributes.
pub(crate) const JOB: u8 = 0x02;
/// The group of printer attributes.
pub(crate) const PRINTER: u8 = 0x04;
/// The group of attributes that the printer does not support.
pub(crate) const UNSUPPORTED: u8 = 0x05;
/// The group of operation attributes.
pub(crate) const OPERATION: u8 = 0x01;

impl Answer {
    /// Reads an answer.
    ///
    /// # Errors
    /// [`AnswerError`].
    pub fn read(bytes: &[u8]) -> Result<Self, AnswerError> {
        let mut cursor = Cursor { bytes, at: 0 };
        let _version = cursor.short()?;
        let status = cursor.short()?;
        let _request = cursor.take(4)?;
        let mut groups: Vec<Group> = Vec::new();
        // The attribute whose values come, and whether they are kept.
        let mut last: Option<(String, bool)> = None;
        loop {
            let at = cursor.at;
            let tag = cursor.byte()?;
            if tag == END_OF_ATTRIBUTES {
                return Ok(Self { status, groups });
            }
            if DELIMITERS.contains(&tag) {
                groups.push(Group {
                    tag,
                    attributes: Attributes::default(),
                });
                last = None;
                continue;
            }
            let (name, value) = cursor.named()?;
            let value = cursor.value(tag, value, 0)?;
            let group = groups.last_mut().ok_or(AnswerError::Garbled { at })?;
            let (name, is_kept) = match (name.is_empty(), last.take()) {
                // No attribute may come twice in a group; of those that do, the first is taken.
                (false, _) => (text(name), !group.attributes.has(&text(name))),
                (true, Some(last)) => last,
                (true, None) => return Err(AnswerError::Garbled { at }),
            };
            if is_kept {
                group.attributes.push(&name, value);
            }
            last = Some((name, is_kept));
        }
    }

    /// The first group with this tag; nothing where there is none.
    pub fn group(&self, tag: u8) -> Option<&Attributes> {
        let group = self.groups.iter().find(|group| group.tag == tag)?;
        Some(&group.attributes)
    }

    /// All groups with this tag.
    pub fn groups_of(&self, tag: u8) -> impl Iterator<Item = &Attributes> {
        let of = move |group: &&Group| group.tag == tag;
        self.groups.iter().filter(of).map(|group| &group.attributes)
    }

    /// What the printer says in words, where it says anything.
    pub fn message(&self) -> Option<&str> {
        let operation = self.group(OPERATION)?;
        operation
            .text("detailed-status-message")
            .or_else(|| operation.text("status-message"))
            .filter(|text| !text.is_empty())
    }
}

impl Attributes {
    fn push(&mut self, name: &str, value: Value) {
        match self.0.get_mut(name) {
            Some(values) => values.push(value),
            None => drop(self.0.insert(name.to_owned(), vec![value])),
        }
    }

    #[cfg(test)]
    pub(crate) fn of(attributes: &[(&str, Vec<Value>)]) -> Self {
        let own = attributes.iter().cloned();
        Self(
            own.map(|(name, values)| (name.to_owned(), values))
                .collect(),
        )
    }

    /// The names of all attributes.
    pub fn names(&self) -> impl Iterator<Item = &str> {
        self.0.keys().map(String::as_str)
    }

    /// Whether there is such an attribute.
    pub fn has(&self, name: &str) -> bool {
        self.0.contains_key(name)
    }

    /// All values of an attribute; none where there is no such attribute.
    pub fn all(&self, name: &str) -> &[Value] {
        self.0.get(name).map_or(&[], Vec::as_slice)
    }

    /// The first value of an attribute.
    pub fn first(&self, name: &str) -> Option<&Value> {
        self.all(name).first()
    }

    /// The first value as text.
    pub fn text(&self, name: &str) -> Option<&str> {
        self.first(name)?.as_text()
    }

    /// All values that are text.
    pub fn texts(&self, name: &str) -> Vec<String> {
        let texts = self.all(name).iter().filter_map(Value::as_text);
        texts.map(str::to_owned).collect()
    }

    /// The first value as a number.
    pub fn integer(&self, name: &str) -> Option<i32> {
        self.first(name)?.as_integer()
    }

    /// All values that are numbers.
    pub fn integers(&self, name: &str) -> Vec<i32> {
        self.all(name)
            .iter()
            .filter_map(Value::as_integer)
            .collect()
    }

    /// The first value as a truth.
    pub fn boolean(&self, name: &str) -> Option<bool> {
        match self.first(name)? {
            Value::Boolean(is) => Some(*is),
            _ => None,
        }
    }

    /// The first value as a collection.
    pub fn collection(&self, name: &str) -> Option<&Attributes> {
        self.first(name)?.as_collection()
    }

    /// All values that are collections.
    pub fn collections(&self, name: &str) -> impl Iterator<Item = &Attributes> {
        self.all(name).iter().filter_map(Value::as_collection)
    }
}

impl Value {
    /// As text.
    pub fn as_text(&self) -> Option<&str> {
        match self {
            Self::Text(text) => Some(text),
            _ => None,
        }
    }

    /// As a number.
    pub fn as_integer(&self) -> Option<i32> {
        match self {
            Self::Integer(number) => Some(*number),
            _ => None,
        }
    }

    /// As a collection.
    pub fn as_collection(&self) -> Option<&Attributes> {
        match self {
            Self::Collection(members) => Some(members),
            _ => None,
        }
    }
}

struct Cursor<'a> {
    bytes: &'a [u8],
    at: usize,
}

impl<'a> Cursor<'a> {
    fn take(&mut self, count: usize) -> Result<&'a [u8], AnswerError> {
        let rest = self.bytes.get(self.at..).ok_or(AnswerError::Short)?;
        let taken = rest.get(..count).ok_or(AnswerError::Short)?;
        self.at += count;
        Ok(taken)
    }

    fn byte(&mut self) -> Result<u8, AnswerError> {
        Ok(self.take(1)?[0])
    }

    fn short(&mut self) -> Result<u16, AnswerError> {
        let two = self.take(2)?;
        Ok(u16::from_be_bytes([two[0], two[1]]))
    }

    fn counted(&mut self) -> Result<&'a [u8], AnswerError> {
        let count = self.short()?;
        self.take(usize::from(count))
    }

    /// A name and the bytes of a value, after the tag.
    fn named(&mut self) -> Result<(&'a [u8], &'a [u8]), AnswerError> {
        Ok((self.counted()?, self.counted()?))
    }

    /// The value with these bytes; of a collection also what follows.
    fn value(&mut self, tag: u8, bytes: &[u8], depth: usize) -> Result<Value, AnswerError> {
        if tag == BEGIN_COLLECTION {
            return Ok(Value::Collection(self.members(depth + 1)?));
        }
        Ok(plain_value(tag, bytes).unwrap_or(Value::Nothing))
    }

    /// The members of a collection up to its end (RFC 8010, 3.1.6): after a member's name come
    /// its values, one or more.
    fn members(&mut self, depth: usize) -> Result<Attributes, AnswerError> {
        if depth > DEEPEST {
            return Err(AnswerError::Deep);
        }
        let mut members = Attributes::default();
        let mut member: Option<String> = None;
        loop {
            let at = self.at;
            let tag = self.byte()?;
            if DELIMITERS.contains(&tag) {
                return Err(AnswerError::Garbled { at });
            }
            let (_, bytes) = self.named()?;
            match (tag, &member) {
                (END_COLLECTION, _) => return Ok(members),
                (MEMBER_NAME, _) => member = Some(text(bytes)),
                (_, None) => return Err(AnswerError::Garbled { at }),
                (_, Some(name)) => {
                    let value = self.value(tag, bytes, depth)?;
                    members.push(name, value);
                }
            }
        }
    }
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

/// A value that is no collection (RFC 8010, 3.9).
fn plain_value(tag: u8, bytes: &[u8]) -> Option<Value> {
    let number = |at: usize| {
        let four = bytes.get(at..at + 4)?;
        Some(i32::from_be_bytes([four[0], four[1], four[2], four[3]]))
    };
    Some(match tag {
        0x21 | 0x23 => Value::Integer(number(0)?),
        0x22 => Value::Boolean(*bytes.first()? != 0),
        0x30 => Value::Octets(bytes.to_vec()),
        0x32 => {
            // Units: 3 is dots per inch, 4 dots per cm.
            let per_inch = match *bytes.get(8)? {
                3 => 1.0,
                4 => 2.54,
                _ => return None,
            };
            let dots = |at| Some(f64::from(number(at)?) * per_inch);
            Value::Resolution(dots(0)?, dots(4)?)
        }
        0x33 => Value::Range(number(0)?, number(4)?),
        0x35 | 0x36 => {
            let length = |at: usize| {
                let two = bytes.get(at..at + 2)?;
                Some(usize::from(u16::from_be_bytes([two[0], two[1]])))
            };
            let start = 2 + length(0)?;
            Value::Text(text(bytes.get(start + 2..start + 2 + length(start)?)?))
        }
        0x41..=0x49 => Value::Text(text(bytes)),
        _ => return None,
    })
}

#[cfg(test)]
mod tests;
