//! Short random names by which records are known for ever.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

/// The text is not an id.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("\"{0}\" is not an id; it has 1 to {1} characters of 0-9 and A-Z")]
pub struct NotAnId(String, usize);

/// Digits and letters without those that are taken for one another (I, L, O, U).
const LETTERS: &[u8; 32] = b"0123456789ABCDEFGHJKMNPQRSTVWXYZ";

/// `N` random letters, five bits of chance in each.
///
/// # Panics
/// Where the system has no source of random numbers; no supported system is without one.
#[expect(
    clippy::expect_used,
    reason = "an id that is not random would be worse than none"
)]
fn random<const N: usize>() -> String {
    let mut bytes = [0_u8; N];
    getrandom::fill(&mut bytes).expect("the system gives random numbers");
    bytes
        .iter()
        .map(|b| char::from(LETTERS[usize::from(b % 32)]))
        .collect()
}

fn checked(text: &str, longest: usize) -> Result<String, NotAnId> {
    let upper = text.trim().to_ascii_uppercase();
    let plain = upper
        .bytes()
        .all(|b| b.is_ascii_digit() || b.is_ascii_uppercase());
    if plain && (1..=longest).contains(&upper.len()) {
        Ok(upper)
    } else {
        Err(NotAnId(text.chars().take(40).collect(), longest))
    }
}

macro_rules! id {
    ($(#[$doc:meta])* $name:ident, $fresh:literal, $longest:literal) => {
        $(#[$doc])*
        #[derive(Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
        #[serde(into = "String", try_from = "String")]
        pub struct $name(String);

        impl $name {
            /// A new id, drawn at random.
            pub fn random() -> Self {
                Self(random::<$fresh>())
            }

            /// The text.
            pub fn as_str(&self) -> &str {
                &self.0
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str(&self.0)
            }
        }

        impl FromStr for $name {
            type Err = NotAnId;
            fn from_str(text: &str) -> Result<Self, Self::Err> {
                checked(text, $longest).map(Self)
            }
        }

        impl From<$name> for String {
            fn from(id: $name) -> Self {
                id.0
            }
        }

        impl TryFrom<String> for $name {
            type Error = NotAnId;
            fn try_from(text: String) -> Result<Self, Self::Error> {
                text.parse()
            }
        }
    };
}

id! {
    /// Names a set-up: 1 to 8 characters of 0-9 and A-Z, short enough for the codes on a test
    /// sheet. It stays when the set-up is renamed, exported or imported.
    SetUpId, 6, 8
}

id! {
    /// Names a reading: 1 to 16 characters of 0-9 and A-Z.
    ReadingId, 12, 16
}

id! {
    /// Names a print run: 1 to 8 characters of 0-9 and A-Z, short enough to be typed.
    RunId, 5, 8
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::HashSet;

    #[test]
    fn ids_are_read_in_either_case() {
        let id: SetUpId = " k7q2m9 ".parse().expect("an id");
        assert_eq!(id.as_str(), "K7Q2M9");
    }

    #[test]
    fn what_is_no_id_is_refused() {
        for text in ["", "K7-Q2", "ABCDEFGHJ", "É", "../X"] {
            assert!(text.parse::<SetUpId>().is_err(), "{text}");
        }
    }

    #[test]
    fn random_ids_differ_and_read_back() {
        let ids: HashSet<ReadingId> = (0..2000).map(|_| ReadingId::random()).collect();
        assert_eq!(ids.len(), 2000);
        for id in ids {
            assert_eq!(id.as_str().parse::<ReadingId>(), Ok(id.clone()));
        }
    }
}
