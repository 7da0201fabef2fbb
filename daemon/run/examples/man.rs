//! Writes the man pages of outlast and of each command into a folder: for packages.
//!
//! `systemd/man-pages` runs it.

#[path = "../src/commands/cli.rs"]
mod cli;

use clap::CommandFactory;

fn main() -> std::io::Result<()> {
    let Some(folder) = std::env::args_os().nth(1) else {
        eprintln!("Which folder shall the man pages go to?");
        std::process::exit(2);
    };
    std::fs::create_dir_all(&folder)?;
    clap_mangen::generate_to(cli::Cli::command(), folder)
}
