//! Pairs as a user names them.

use std::fmt;
use std::str::FromStr;

use super::look::Look;
use super::{Sheets, ways};
use crate::findings::Way;

/// Which pages are pairs.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub enum Asked {
    /// Whatever the file speaks for.
    #[default]
    Guess,
    /// The pages that hold cards, in this way.
    In(Way),
    /// These fronts with these backs, pages from 1.
    Listed(Vec<(usize, usize)>),
}

/// Why pairs cannot be made as asked.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum AskedError {
    /// The words name no pairs.
    #[error("\"{0}\" names no pairs")]
    Unknown(String),
    /// A page that the file does not have.
    #[error("there is no page {page}: the file has {pages}")]
    NoSuchPage {
        /// The page asked for, from 1.
        page: usize,
        /// How many there are.
        pages: usize,
    },
    /// A page is asked for twice.
    #[error("page {page} is front and back, or the front of two backs")]
    Twice {
        /// The page, from 1.
        page: usize,
    },
    /// The number of pages with cards does not allow the way.
    #[error("{pages} pages with cards cannot be paired {way}")]
    DoesNotDivide {
        /// How many pages hold cards.
        pages: usize,
        /// The way asked for.
        way: Way,
    },
}

impl AskedError {
    /// What to do about it.
    pub fn hint(&self) -> &'static str {
        match self {
            Self::Unknown(_) => {
                "write alternating, fronts-then-backs, backs-reversed, one-back, fold-over or \
                 one-sided, or pages like 1-2,3-4 (front-back)"
            }
            Self::NoSuchPage { .. } => "pages are counted from 1, as the viewer counts them",
            Self::Twice { .. } => {
                "a page is either a front or a back; one back may have many fronts"
            }
            Self::DoesNotDivide { .. } => "name the pages themselves, like 1-2,3-4 (front-back)",
        }
    }
}

/// The names by which ways are asked for and told.
const NAMES: [(Way, &str); 7] = [
    (Way::Alternating, "alternating"),
    (Way::FrontsThenBacks, "fronts-then-backs"),
    (Way::BacksReversed, "backs-reversed"),
    (Way::OneBack, "one-back"),
    (Way::FoldOver, "fold-over"),
    (Way::SeparateFiles, "separate-files"),
    (Way::OneSided, "one-sided"),
];

impl fmt::Display for Way {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let name = NAMES.iter().find(|(way, _)| way == self);
        f.write_str(name.map_or("", |(_, name)| name))
    }
}

impl FromStr for Asked {
    type Err = AskedError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let plain = text.trim().to_lowercase().replace([' ', '_'], "-");
        if let Some((way, _)) = NAMES.iter().find(|(_, name)| *name == plain) {
            return Ok(Self::In(*way));
        }
        let number = |text: &str| text.trim().parse::<usize>().ok().filter(|&n| n > 0);
        let pairs: Option<Vec<_>> = text
            .split(',')
            .map(|part| {
                let (front, back) = part.split_once('-')?;
                Some((number(front)?, number(back)?))
            })
            .collect();
        pairs
            .map(Self::Listed)
            .ok_or_else(|| AskedError::Unknown(text.trim().to_owned()))
    }
}

/// The pages paired as asked.
pub(super) fn sheets(
    asked: &Asked,
    fronts: &[Look],
    backs: Option<&[Look]>,
) -> Result<Sheets, AskedError> {
    match asked {
        Asked::Guess => Ok(match backs {
            Some(backs) => ways::guess_files(fronts, backs),
            None => ways::guess(fronts),
        }),
        Asked::Listed(listed) => list(listed, fronts, backs),
        Asked::In(way) => {
            let sheets = match backs {
                Some(backs) => ways::in_way_of_files(*way, fronts.len(), backs.len()),
                None => ways::in_way(*way, fronts),
            };
            let (pages, way) = (ways::candidates(fronts).len(), *way);
            let mut sheets = sheets.ok_or(AskedError::DoesNotDivide { pages, way })?;
            sheets.evidence = vec!["it was asked for so".into()];
            sheets.confidence = 1.0;
            Ok(sheets)
        }
    }
}

fn list(
    listed: &[(usize, usize)],
    fronts: &[Look],
    backs: Option<&[Look]>,
) -> Result<Sheets, AskedError> {
    let (mut is_front, mut is_back) = (vec![false; fronts.len()], vec![false; fronts.len()]);
    let two_files = backs.is_some();
    let back_count = backs.map_or(fronts.len(), <[Look]>::len);
    let mut pairs = Vec::new();
    for &(front, back) in listed {
        for (page, pages) in [(front, fronts.len()), (back, back_count)] {
            if page > pages {
                return Err(AskedError::NoSuchPage { page, pages });
            }
        }
        if std::mem::replace(&mut is_front[front - 1], true) {
            return Err(AskedError::Twice { page: front });
        }
        if !two_files && front != back {
            is_back[back - 1] = true;
        }
        pairs.push((front - 1, back - 1));
    }
    if let Some(page) = (0..fronts.len()).find(|&i| is_front[i] && is_back[i]) {
        return Err(AskedError::Twice { page: page + 1 });
    }
    let rests = ways::candidates(fronts)
        .into_iter()
        .filter(|&i| !is_front[i] && !is_back[i])
        .collect();
    let way = if two_files {
        Way::SeparateFiles
    } else if pairs.iter().all(|(f, b)| f == b) {
        Way::FoldOver
    } else if pairs.len() > 1 && pairs.iter().all(|(_, b)| *b == pairs[0].1) {
        Way::OneBack
    } else {
        Way::Alternating
    };
    Ok(Sheets {
        way,
        pairs,
        rests,
        confidence: 1.0,
        evidence: vec!["it was asked for so".into()],
    })
}
