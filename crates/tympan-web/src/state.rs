//! What all requests share.

use std::collections::HashMap;
use std::path::PathBuf;
use std::sync::{Arc, Mutex};
use std::time::Duration;

use tokio::sync::{Semaphore, broadcast, watch};
use tympan_app::Refusal;
use tympan_app::desk::{Desk, Work};
use tympan_app::lines_up::Found;
use tympan_app::store::{SetUp, Store};

use crate::crew::Crew;
use crate::phone::Pairing;

/// Uploads that arrive at the same time; others are asked to come again.
pub(crate) const UPLOADS: usize = 6;

/// Shared by all requests.
pub(crate) type App = Arc<State>;

/// What all requests share.
pub(crate) struct State {
    /// The data folder.
    pub(crate) data: PathBuf,
    /// What lies on the desk.
    pub(crate) desk: Desk,
    /// The children that read files.
    pub(crate) crew: Crew,
    /// What every change must bring along. New at every start.
    pub(crate) token: String,
    /// Where the server listens.
    pub(crate) port: u16,
    /// Room for uploads.
    pub(crate) uploads: Semaphore,
    /// An upload that brings nothing for so long is given up.
    pub(crate) patience: Duration,
    /// The ids of works and set-ups about which something is new.
    pub(crate) moved_on: broadcast::Sender<String>,
    /// How to cancel running work, by the id of the work or of the pictures.
    pub(crate) cancels: Mutex<HashMap<String, watch::Sender<bool>>>,
    /// The phone that may send photos, if one may.
    pub(crate) pairing: Mutex<Option<Arc<Pairing>>>,
    /// How well set-ups line up, as it was found last.
    pub(crate) lines_up: Found,
    /// Passwords of locked files, by the work's id. Never written down.
    pub(crate) passwords: Mutex<HashMap<String, String>>,
}

impl State {
    /// Keeps the password of somebody's files until the program ends.
    pub(crate) fn keep_password(&self, id: &str, password: String) {
        if let Ok(mut passwords) = self.passwords.lock() {
            passwords.insert(id.to_owned(), password);
        }
    }

    /// The password of a work's files, if it was given.
    pub(crate) fn password(&self, id: &str) -> Option<String> {
        self.passwords.lock().ok()?.get(id).cloned()
    }

    /// The password of what opens only with one, by its id.
    ///
    /// # Errors
    /// A [`Refusal`] where it was given to a Tympan that was closed since: none is kept.
    pub(crate) fn opener(&self, id: &str, is_needed: bool) -> Result<Option<String>, Refusal> {
        match self.password(id) {
            None if is_needed => Err(Refusal::new(
                "the file is locked with a password, and Tympan was closed since it was given: it \
                 keeps no passwords",
                "open the file once more on its own page, then try again",
            )),
            password => Ok(password),
        }
    }

    /// The store, opened for one request.
    pub(crate) fn store(&self) -> Result<Store, Refusal> {
        tympan_app::open_store(Some(self.data.clone()))
    }

    /// The set-up that an address names, with the store that has it.
    pub(crate) fn set_up(&self, id: &str) -> Result<(Store, SetUp), Refusal> {
        let id = id
            .parse()
            .map_err(|_| Refusal::new("there is no such set-up", "choose another"))?;
        let store = self.store()?;
        let setup = store.set_up(&id)?;
        Ok((store, setup))
    }

    /// Says that something about a work's long work is new.
    pub(crate) fn tell(&self, id: &str) {
        // Nobody may be listening.
        let _ = self.moved_on.send(id.to_owned());
    }

    /// A refusal with the names that files have for their owner instead of the desk's own.
    pub(crate) fn in_their_names(&self, work: &Work, refusal: Refusal) -> Refusal {
        let mut message = refusal.message;
        for (index, file) in work.files.iter().enumerate() {
            let path = self.desk.file(&work.id, index);
            message = message.replace(&path.display().to_string(), &file.name);
        }
        Refusal { message, ..refusal }
    }
}
