//! Moments, as they are written in the data.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

/// A moment to the millisecond, from 1970 to 9999. Written in UTC by RFC 3339, always with three
/// decimals (`2026-03-01T09:30:00.000Z`), so that written moments sort as texts.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(into = "String", try_from = "String")]
pub struct Timestamp(jiff::Timestamp);

/// The text is not a moment.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("\"{0}\" is not a moment by RFC 3339, such as 2026-03-01T09:30:00Z")]
pub struct NotATimestamp(String);

/// The first millisecond of the year 10000.
const END_MS: i64 = 253_402_300_800_000;

impl Timestamp {
    /// This moment by the machine's clock.
    pub fn now() -> Self {
        let ms = jiff::Timestamp::now().as_millisecond();
        Self::from_unix_ms(ms).unwrap_or(Self(jiff::Timestamp::UNIX_EPOCH))
    }

    /// The moment this many milliseconds after the beginning of 1970, UTC; none outside the range.
    pub fn from_unix_ms(ms: i64) -> Option<Self> {
        if !(0..END_MS).contains(&ms) {
            return None;
        }
        jiff::Timestamp::from_millisecond(ms).ok().map(Self)
    }

    /// Milliseconds since the beginning of 1970, UTC.
    pub fn unix_ms(self) -> i64 {
        self.0.as_millisecond()
    }
}

impl fmt::Display for Timestamp {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:.3}", self.0)
    }
}

impl FromStr for Timestamp {
    type Err = NotATimestamp;

    /// Reads any offset; what is finer than a millisecond is cut off.
    fn from_str(text: &str) -> Result<Self, Self::Err> {
        text.parse::<jiff::Timestamp>()
            .ok()
            .and_then(|t| Self::from_unix_ms(t.as_millisecond()))
            .ok_or_else(|| NotATimestamp(text.chars().take(60).collect()))
    }
}

impl From<Timestamp> for String {
    fn from(t: Timestamp) -> Self {
        t.to_string()
    }
}

impl TryFrom<String> for Timestamp {
    type Error = NotATimestamp;
    fn try_from(text: String) -> Result<Self, Self::Error> {
        text.parse()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_moment_is_written_in_utc_to_the_millisecond() {
        let t: Timestamp = "2026-03-01T10:30:00.1239+01:00".parse().expect("a moment");
        assert_eq!(t.to_string(), "2026-03-01T09:30:00.123Z");
        let t: Timestamp = "2026-03-01T09:30:00Z".parse().expect("a moment");
        assert_eq!(t.to_string(), "2026-03-01T09:30:00.000Z");
    }

    /// Unix time 1 000 000 000 is 2001-09-09T01:46:40Z (a widely published value).
    #[test]
    fn unix_time_is_counted_from_1970() {
        let t = Timestamp::from_unix_ms(1_000_000_000_000).expect("in range");
        assert_eq!(t.to_string(), "2001-09-09T01:46:40.000Z");
    }

    #[test]
    fn what_is_no_moment_is_refused() {
        for text in [
            "",
            "yesterday",
            "2026-02-30T00:00:00Z",
            "1969-12-31T23:59:59Z",
            "2026-03-01",
        ] {
            assert!(text.parse::<Timestamp>().is_err(), "{text}");
        }
    }

    proptest! {
        #[test]
        fn moments_read_back_and_sort_as_texts(a in 0..END_MS, b in 0..END_MS) {
            let (a, b) = (Timestamp::from_unix_ms(a), Timestamp::from_unix_ms(b));
            let (a, b) = (a.expect("in range"), b.expect("in range"));
            prop_assert_eq!(a.to_string().parse::<Timestamp>(), Ok(a));
            prop_assert_eq!(a.cmp(&b), a.to_string().cmp(&b.to_string()));
        }
    }
}
