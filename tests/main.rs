//! The whole program, from outside: the built binary on made-up boards, and what must hold of the
//! tree. One binary, so that it links once.

mod banks;
mod cards;
mod daemon;
mod demo;
mod open_hotspot;
mod plans;
mod record;
mod report;
mod settings;
mod shipped_files;
mod spend;
mod support;
mod terminal;
mod texts;
mod walls;
mod warnings;
mod words;
