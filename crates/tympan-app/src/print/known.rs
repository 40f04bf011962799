//! The certificates of printers that a person has agreed to: a text file in the data folder, a
//! printer and its fingerprint on each line.

use std::fs;
use std::path::PathBuf;

use tympan_press::ipp::{Address, Fingerprint};
use tympan_store::data_folder;

use crate::files;
use crate::refusal::Refusal;

/// The file's name in the data folder.
const FILE_NAME: &str = "known-printers.txt";

fn file(data: &Option<PathBuf>) -> Option<PathBuf> {
    Some(data_folder(data.clone()).ok()?.join(FILE_NAME))
}

fn lines(data: &Option<PathBuf>) -> Vec<(String, Fingerprint)> {
    let text = file(data).and_then(|file| fs::read_to_string(file).ok());
    let text = text.unwrap_or_default();
    let line = |line: &str| {
        let (place, fingerprint) = line.trim().split_once(' ')?;
        Some((place.to_owned(), fingerprint.parse().ok()?))
    };
    text.lines().filter_map(line).collect()
}

/// The certificate that was agreed to for this printer.
pub fn known(data: &Option<PathBuf>, address: &Address) -> Option<Fingerprint> {
    let place = address.place();
    let all = lines(data);
    all.into_iter().find(|(p, _)| *p == place).map(|(_, f)| f)
}

/// Remembers a certificate that a person has agreed to; an older one of this printer is dropped.
///
/// # Errors
/// A [`Refusal`] where the data folder cannot be written.
pub fn remember(
    data: &Option<PathBuf>,
    address: &Address,
    fingerprint: Fingerprint,
) -> Result<(), Refusal> {
    rewrite(data, address, Some(fingerprint))
}

/// Forgets a printer's certificate.
///
/// # Errors
/// A [`Refusal`] where the data folder cannot be written.
pub fn forget(data: &Option<PathBuf>, address: &Address) -> Result<(), Refusal> {
    rewrite(data, address, None)
}

fn rewrite(
    data: &Option<PathBuf>,
    address: &Address,
    fingerprint: Option<Fingerprint>,
) -> Result<(), Refusal> {
    let folder = data_folder(data.clone())?;
    let path = folder.join(FILE_NAME);
    let place = address.place();
    let mut all = lines(data);
    all.retain(|(p, _)| *p != place);
    all.extend(fingerprint.map(|f| (place, f)));
    let text: String = all.iter().map(|(p, f)| format!("{p} {f}\n")).collect();
    fs::create_dir_all(&folder).map_err(|e| Refusal::file("write", &path, &e))?;
    files::replace(&path, text.as_bytes())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_certificate_is_remembered_for_its_printer_until_it_is_forgotten() {
        let folder = tempfile::tempdir().expect("a folder");
        let data = Some(folder.path().to_owned());
        let of = |text: &str| text.parse::<Address>().expect("an address");
        let print = |digit: &str| digit.repeat(64).parse::<Fingerprint>().expect("one");
        let (study, hall) = (of("ipps://study.local"), of("ipps://hall.local:443"));
        assert_eq!(known(&data, &study), None);
        remember(&data, &study, print("a")).expect("written");
        remember(&data, &hall, print("b")).expect("written");
        remember(&data, &study, print("c")).expect("written");
        assert_eq!(known(&data, &study), Some(print("c")));
        assert_eq!(known(&data, &hall), Some(print("b")));
        forget(&data, &study).expect("written");
        assert_eq!(known(&data, &study), None);
        assert_eq!(known(&data, &hall), Some(print("b")));
    }
}
