//! The local web page: its server, its pages and what they are made of.
//!
//! - `pages`: one file for each page; `shell` is what they all stand in.
//! - `api`: what the pages' scripts ask for, one file for each subject.
//! - `guard`: who may ask at all.
//! - `crew` and `worker`: files are read in child processes of the same program.
//! - `phone`: a link by which one phone may send photos, on the local network, on request only.
//! - `assets`: style, scripts and faces, embedded in the program.

mod api;
mod assets;
mod crew;
mod guard;
mod jobs;
mod pages;
mod phone;
mod refused;
mod server;
mod shell;
mod state;
pub mod worker;

pub use server::{Options, serve};
