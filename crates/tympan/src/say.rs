//! Saying things: answers on stdout, everything else on stderr.

use std::io::{self, BufRead, IsTerminal, Write};
use std::path::Path;

use serde::Serialize;
use tympan_app::Refusal;

/// Writes an answer to stdout.
pub(crate) fn data(text: &str) -> Result<(), Refusal> {
    let mut out = anstream::stdout().lock();
    writeln!(out, "{text}")
        .and_then(|()| out.flush())
        .map_err(|e| Refusal::of_stdout(&e))
}

/// Writes an answer to stdout as JSON.
pub(crate) fn json(value: &impl Serialize) -> Result<(), Refusal> {
    let text = serde_json::to_string_pretty(value).map_err(|e| Refusal {
        message: e.to_string(),
        hint: None,
    })?;
    data(&text)
}

/// Says something by the way on stderr.
pub(crate) fn note(text: &str) {
    // A note that nobody can read is no reason to stop.
    let _ = writeln!(anstream::stderr(), "{text}");
}

/// Says on stderr why something was not done and what to do.
pub(crate) fn refusal(refusal: &Refusal) {
    let mut err = anstream::stderr().lock();
    let red = "\u{1b}[1;31m";
    let cyan = "\u{1b}[1;36m";
    let plain = "\u{1b}[0m";
    let _ = writeln!(err, "{red}error:{plain} {}", refusal.message);
    if let Some(hint) = &refusal.hint {
        let _ = writeln!(err, "{cyan}what to do:{plain} {hint}");
    }
    let _ = io::stderr().flush();
}

/// A path as it is said to people.
pub(crate) fn path(path: &Path) -> String {
    path.display().to_string()
}

/// Says on a terminal how far work has come, over what was said last; at the end the line is
/// empty again.
pub(crate) fn passing(text: &str, is_last: bool) {
    if io::stderr().is_terminal() {
        prompt(&format!("\r{text}"));
        if is_last {
            prompt(&format!("\r{}\r", " ".repeat(text.chars().count())));
        }
    }
}

/// Asks for an answer on stderr, without going to the next line.
pub(crate) fn prompt(text: &str) {
    let mut err = anstream::stderr().lock();
    let _ = write!(err, "{text}");
    let _ = err.flush();
}

/// Asks on the terminal; what is typed, in small letters.
///
/// # Errors
/// A [`Refusal`] where nothing can be read.
pub(crate) fn ask(question: &str) -> Result<String, Refusal> {
    Ok(ask_as_typed(question)?.to_lowercase())
}

/// As [`ask`], with large letters left large.
///
/// # Errors
/// A [`Refusal`] where nothing can be read.
pub(crate) fn ask_as_typed(question: &str) -> Result<String, Refusal> {
    prompt(question);
    let mut line = String::new();
    let refuse = |why: &str| {
        Refusal::new(
            format!("the answer cannot be read: {why}"),
            "answer on the terminal; the command's --help says how to answer beforehand",
        )
    };
    match io::stdin().lock().read_line(&mut line) {
        Ok(0) => Err(refuse("there is no more input")),
        Ok(_) => Ok(line.trim().to_owned()),
        Err(e) => Err(refuse(&e.to_string())),
    }
}
