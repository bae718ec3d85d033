//! `duskflight manual`: the command line's own description, as packages carry it.

use std::fs;
use std::path::PathBuf;

use anyhow::Context;
use clap::{Args, Command, ValueEnum};
use clap_complete::Shell;

use super::Failure;
use super::common::print;

/// Write the manual's pages and the completions of shells into a folder
///
/// The package brings them; a program that was built by hand does not.
#[derive(Debug, Args)]
pub(super) struct Manual {
    /// Folder to write into: man/*.1 and completions/*; it is made when it is not there
    dir: PathBuf,
}

impl Manual {
    /// Writes what describes the whole command line.
    pub(super) fn run(self, program: Command) -> Result<(), Failure> {
        let mut program = without_help(program);
        let (pages, completions) = (self.dir.join("man"), self.dir.join("completions"));
        for folder in [&pages, &completions] {
            fs::create_dir_all(folder)
                .with_context(|| format!("make the folder {}", folder.display()))?;
        }
        for shell in Shell::value_variants() {
            clap_complete::generate_to(*shell, &mut program, "duskflight", &completions)
                .with_context(|| format!("write into {}", completions.display()))?;
        }
        clap_mangen::generate_to(program, &pages)
            .with_context(|| format!("write into {}", pages.display()))?;
        print(&format!("written into {}\n", self.dir.display()))
    }
}

/// Without the `help` below every command, which would be a page of its own for each of them.
fn without_help(command: Command) -> Command {
    let command = command.disable_help_subcommand(true);
    command.mut_subcommands(without_help)
}
