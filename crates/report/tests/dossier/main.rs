//! The dossier as who gets it sees it: complete, self-contained, harmless, and whole or not there.

#![allow(clippy::unwrap_used, reason = "a test that cannot set up its files has failed")]

mod bench;
mod folder;
mod page;
mod recheck;
mod schema;
mod validity;
