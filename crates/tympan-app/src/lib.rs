//! The whole-job flows that every face of the program shares: measuring a set-up, reporting on it,
//! correcting files, and the demo. The faces only ask and tell.

pub mod correct;
pub mod demo;
pub mod desk;
pub mod files;
pub mod inspect;
pub mod lay;
pub mod lines_up;
pub mod measure;
mod on_page;
pub mod pages;
pub mod picture;
pub mod plan;
pub mod print;
mod refusal;
pub mod report;
pub mod run;
pub mod setups;
pub mod witness;
pub mod words;

use std::path::PathBuf;

pub use on_page::on_page;
pub use refusal::Refusal;
/// How piles lie and loads are made, for the faces to ask and show.
pub use tympan_press as press;
/// Units, papers and stock, for the faces to read and show.
pub use tympan_sheet as sheet;
/// What is kept, for the faces to show.
pub use tympan_store as store;

/// Opens the store in the chosen data folder, or in the user's own.
///
/// # Errors
/// A [`Refusal`] where the folder or the database in it cannot be used.
pub fn open_store(folder: Option<PathBuf>) -> Result<store::Store, Refusal> {
    Ok(store::Store::open(&store::data_folder(folder)?)?)
}
