//! Which pages of a file are backs, and whose backs they are.

use std::fmt;
use std::str::FromStr;

/// Which pages of a file are backs. Pages are counted from 1 for people, from 0 inside.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub enum BackPages {
    /// Every second page, as a two-sided file has them: 2, 4, 6 …
    #[default]
    Even,
    /// 1, 3, 5 …: the backs come before their fronts.
    Odd,
    /// The second half: all fronts, then all backs in the same order.
    SecondHalf,
    /// The last page is the back of all others.
    Last,
    /// Every page is a back.
    All,
    /// Just these pages (first and last of each range, from 1). The backs follow their fronts.
    Listed(Vec<(usize, usize)>),
}

/// A page's part in the file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Role {
    /// A front, with the place (from 0) of its back in the file, if it has one.
    Front {
        /// The back page.
        back: Option<usize>,
    },
    /// A back, with the place (from 0) of its front in the file, if it has just one.
    Back {
        /// The front page.
        front: Option<usize>,
    },
}

/// Why the pages cannot be told apart as asked.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum PagesError {
    /// Pairs are asked of an odd number of pages.
    #[error("{pages} pages do not make pairs of a front and a back")]
    Unpaired {
        /// Pages in the file.
        pages: usize,
    },
    /// The file has too few pages to hold backs as asked.
    #[error("a file of {pages} page{} has no backs in that arrangement", plural(*.pages))]
    NoBacks {
        /// Pages in the file.
        pages: usize,
    },
    /// A listed page that the file does not have.
    #[error("there is no page {page}: the file has {pages} page{}", plural(*.pages))]
    NoSuchPage {
        /// The page asked for.
        page: usize,
        /// Pages in the file.
        pages: usize,
    },
    /// The words name no arrangement.
    #[error("\"{0}\" names no pages")]
    Unknown(String),
}

fn plural(count: usize) -> &'static str {
    if count == 1 { "" } else { "s" }
}

impl PagesError {
    /// What to do about it.
    pub fn hint(&self) -> &'static str {
        match self {
            Self::Unpaired { .. } => {
                "say which pages are backs, for example --backs last (one back for all), or \
                 --backs 2,4,6"
            }
            Self::NoBacks { .. } => {
                "give the backs as a file of their own with --back-file, or say --backs all if \
                 every page is a back"
            }
            Self::NoSuchPage { .. } => "pages are counted from 1",
            Self::Unknown(_) => "write even, odd, second-half, last, all, or pages like 2,4,6-10",
        }
    }
}

impl FromStr for BackPages {
    type Err = PagesError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        Ok(match text.trim().to_ascii_lowercase().as_str() {
            "even" => Self::Even,
            "odd" => Self::Odd,
            "second-half" | "second half" => Self::SecondHalf,
            "last" => Self::Last,
            "all" => Self::All,
            list => {
                Self::Listed(ranges(list).ok_or_else(|| PagesError::Unknown(text.trim().into()))?)
            }
        })
    }
}

fn ranges(list: &str) -> Option<Vec<(usize, usize)>> {
    let number = |text: &str| {
        let text = text.trim();
        let digits = !text.is_empty() && text.chars().all(|c| c.is_ascii_digit());
        if digits {
            text.parse::<usize>().ok().filter(|&n| n > 0)
        } else {
            None
        }
    };
    list.split(',')
        .map(|part| match part.split_once('-') {
            Some((first, last)) => {
                let (first, last) = (number(first)?, number(last)?);
                (first <= last).then_some((first, last))
            }
            None => number(part).map(|page| (page, page)),
        })
        .collect()
}

impl fmt::Display for BackPages {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Even => f.write_str("even"),
            Self::Odd => f.write_str("odd"),
            Self::SecondHalf => f.write_str("second-half"),
            Self::Last => f.write_str("last"),
            Self::All => f.write_str("all"),
            Self::Listed(ranges) => {
                let parts: Vec<String> = ranges
                    .iter()
                    .map(|(a, b)| {
                        if a == b {
                            a.to_string()
                        } else {
                            format!("{a}-{b}")
                        }
                    })
                    .collect();
                f.write_str(&parts.join(","))
            }
        }
    }
}

impl BackPages {
    /// Every page's part in a file of so many pages.
    ///
    /// # Errors
    /// [`PagesError`] where the file cannot be divided so.
    pub fn roles(&self, pages: usize) -> Result<Vec<Role>, PagesError> {
        let front = |back| Role::Front { back };
        let back = |front| Role::Back { front };
        let paired = matches!(self, Self::Even | Self::Odd | Self::SecondHalf);
        if pages == 0 || (pages == 1 && (paired || *self == Self::Last)) {
            return Err(PagesError::NoBacks { pages });
        }
        if paired && !pages.is_multiple_of(2) {
            return Err(PagesError::Unpaired { pages });
        }
        let half = pages / 2;
        Ok(match self {
            Self::Even => (0..pages)
                .map(|i| {
                    if i % 2 == 0 {
                        front(Some(i + 1))
                    } else {
                        back(Some(i - 1))
                    }
                })
                .collect(),
            Self::Odd => (0..pages)
                .map(|i| {
                    if i % 2 == 1 {
                        front(Some(i - 1))
                    } else {
                        back(Some(i + 1))
                    }
                })
                .collect(),
            Self::SecondHalf => (0..pages)
                .map(|i| {
                    if i < half {
                        front(Some(i + half))
                    } else {
                        back(Some(i - half))
                    }
                })
                .collect(),
            Self::Last => {
                let last = pages - 1;
                let only = (last == 1).then_some(0);
                (0..last)
                    .map(|_| front(Some(last)))
                    .chain([back(only)])
                    .collect()
            }
            Self::All => vec![back(None); pages],
            Self::Listed(ranges) => listed(ranges, pages)?,
        })
    }
}

/// Listed backs: a back that stands right behind a front is that front's.
fn listed(ranges: &[(usize, usize)], pages: usize) -> Result<Vec<Role>, PagesError> {
    let mut is_back = vec![false; pages];
    for &(first, last) in ranges {
        if last > pages {
            return Err(PagesError::NoSuchPage { page: last, pages });
        }
        is_back[first - 1..last].fill(true);
    }
    let pair = |i: usize| i + 1 < pages && !is_back[i] && is_back[i + 1];
    Ok((0..pages)
        .map(|i| {
            if is_back[i] {
                Role::Back {
                    front: (i > 0 && pair(i - 1)).then(|| i - 1),
                }
            } else {
                Role::Front {
                    back: pair(i).then_some(i + 1),
                }
            }
        })
        .collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn backs(arrangement: &str, pages: usize) -> Vec<usize> {
        let roles = arrangement
            .parse::<BackPages>()
            .expect("known")
            .roles(pages)
            .expect("divides");
        let is_back = |(_, role): &(usize, &Role)| matches!(role, Role::Back { .. });
        roles
            .iter()
            .enumerate()
            .filter(is_back)
            .map(|(i, _)| i + 1)
            .collect()
    }

    #[test]
    fn each_arrangement_names_its_pages() {
        assert_eq!(backs("even", 6), [2, 4, 6]);
        assert_eq!(backs("odd", 6), [1, 3, 5]);
        assert_eq!(backs("second-half", 6), [4, 5, 6]);
        assert_eq!(backs("last", 5), [5]);
        assert_eq!(backs("all", 3), [1, 2, 3]);
        assert_eq!(backs("2,4,6-10", 12), [2, 4, 6, 7, 8, 9, 10]);
    }

    #[test]
    fn fronts_know_their_backs() {
        let roles = BackPages::SecondHalf.roles(4).expect("even");
        assert_eq!(roles[1], Role::Front { back: Some(3) });
        assert_eq!(roles[2], Role::Back { front: Some(0) });
        let roles = BackPages::Last.roles(3).expect("three pages");
        assert_eq!(roles[0], Role::Front { back: Some(2) });
        assert_eq!(roles[2], Role::Back { front: None });
    }

    #[test]
    fn files_that_cannot_be_divided_are_refused() {
        assert_eq!(
            BackPages::Even.roles(7),
            Err(PagesError::Unpaired { pages: 7 })
        );
        assert_eq!(
            BackPages::Even.roles(1),
            Err(PagesError::NoBacks { pages: 1 })
        );
        assert_eq!(
            BackPages::Last.roles(1),
            Err(PagesError::NoBacks { pages: 1 })
        );
        assert_eq!(
            BackPages::All.roles(0),
            Err(PagesError::NoBacks { pages: 0 })
        );
        let listed: BackPages = "2,9".parse().expect("a list");
        assert_eq!(
            listed.roles(4),
            Err(PagesError::NoSuchPage { page: 9, pages: 4 })
        );
    }

    #[test]
    fn nonsense_is_refused() {
        for text in [
            "",
            "0",
            "3-1",
            "2,,4",
            "two",
            "1-",
            "-3",
            "99999999999999999999",
        ] {
            assert!(text.parse::<BackPages>().is_err(), "{text}");
        }
    }

    proptest! {
        #[test]
        fn partners_name_each_other(pages in 1usize..40, pick in 0usize..5) {
            let all = [BackPages::Even, BackPages::Odd, BackPages::SecondHalf, BackPages::All,
                "2,4-6".parse().expect("a list")];
            if let Ok(roles) = all[pick].roles(pages) {
                prop_assert_eq!(roles.len(), pages);
                for (i, role) in roles.iter().enumerate() {
                    match role {
                        Role::Front { back: Some(b) } => {
                            prop_assert_eq!(roles[*b], Role::Back { front: Some(i) });
                        }
                        Role::Back { front: Some(f) } => {
                            prop_assert_eq!(roles[*f], Role::Front { back: Some(i) });
                        }
                        _ => {}
                    }
                }
            }
        }
    }
}
