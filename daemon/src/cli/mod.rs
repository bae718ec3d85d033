//! The command line: one file per command, one exit code per kind of failure.

mod accept_records;
mod alerts;
mod answer;
mod backup;
mod check;
mod clock;
mod common;
mod days;
mod demo;
mod doctor;
mod explain;
mod failure;
mod feed;
mod fill;
mod heat;
mod hindcast;
mod init;
mod manual;
mod nightly;
mod outbox;
mod page;
mod plan;
mod preview;
mod records;
mod replay;
mod report;
mod restore;
mod round;
mod run;
mod screen;
mod season;
mod service;
mod station_file;
mod stations;
mod status;
mod test_mail;
mod told;

use std::process::ExitCode;

use clap::{CommandFactory, Parser, Subcommand};

pub use failure::{Exit, Failure};

use crate::plain_file;
use crate::trim::share_heaps;

/// Watches navel orangeworm in nut orchards: heat units, egg-laying starts, projected dates, a
/// morning digest for the adviser and key-date alerts for growers
#[derive(Debug, Parser)]
#[command(name = "duskflight", version, after_help = EXIT_CODES)]
struct Cli {
    #[command(subcommand)]
    command: Command,
}

const EXIT_CODES: &str = "\
Exit codes: 0 fine, 1 unexpected, 2 a wrong argument or input file, 75 try again later,
78 the configuration must be mended.";

#[derive(Debug, Subcommand)]
enum Command {
    Demo(demo::Demo),
    Init(init::Init),
    Check(check::Check),
    Run(run::Run),
    Nightly(nightly::Nightly),
    Status(status::Status),
    Doctor(doctor::Doctor),
    Clock(clock::ClockState),
    Season(season::Season),
    Explain(explain::Explain),
    Service(service::Service),
    Round(round::Round),
    Plan(plan::Plan),
    Preview(preview::Preview),
    Replay(replay::Replay),
    Told(told::Told),
    Report(report::Report),
    TestMail(test_mail::TestMail),
    Alerts(alerts::Alerts),
    Answer(answer::Answer),
    #[command(subcommand)]
    Outbox(outbox::Outbox),
    #[command(subcommand)]
    Page(page::Page),
    AcceptRecords(accept_records::AcceptRecords),
    Backup(backup::Backup),
    Restore(restore::Restore),
    #[command(subcommand)]
    Visits(records::Visits),
    #[command(subcommand)]
    Notes(records::Notes),
    #[command(subcommand)]
    Days(days::Days),
    #[command(subcommand)]
    Feed(feed::Feed),
    #[command(subcommand)]
    Stations(stations::Stations),
    Heat(heat::Heat),
    Screen(screen::Screen),
    Fill(fill::Fill),
    Hindcast(hindcast::Hindcast),
    Manual(manual::Manual),
}

/// Reads the command line, runs the command and gives the program's exit code; what went wrong is
/// said on standard error.
#[must_use]
pub fn main() -> ExitCode {
    plain_file::keep_from_others();
    share_heaps();
    let command = Cli::parse().command;
    // The daemon's log is its diary; a command at hand says what it does on standard output.
    common::log_to_stderr(match command {
        Command::Run(_) => "warn,duskflight=info",
        _ => "warn",
    });
    let outcome = match command {
        Command::Demo(command) => common::block_on(command.run()),
        Command::Init(command) => command.run(),
        Command::Check(command) => common::block_on(command.run()),
        Command::Run(command) => common::block_on(command.run()),
        Command::Nightly(command) => common::block_on(command.run()),
        Command::Status(command) => common::block_on(command.run()),
        Command::Doctor(command) => common::block_on(command.run()),
        Command::Clock(command) => common::block_on(command.run()),
        Command::Season(command) => common::block_on(command.run()),
        Command::Explain(command) => common::block_on(command.run()),
        Command::Service(command) => common::block_on(command.run()),
        Command::Round(command) => common::block_on(command.run()),
        Command::Plan(command) => common::block_on(command.run()),
        Command::Preview(command) => common::block_on(command.run()),
        Command::Replay(command) => common::block_on(command.run()),
        Command::Told(command) => common::block_on(command.run()),
        Command::Report(command) => common::block_on(command.run()),
        Command::TestMail(command) => common::block_on(command.run()),
        Command::Answer(command) => common::block_on(command.run()),
        Command::Alerts(command) => common::block_on(command.run()),
        Command::Outbox(command) => common::block_on(command.run()),
        Command::Page(command) => common::block_on(command.run()),
        Command::AcceptRecords(command) => common::block_on(command.run()),
        Command::Backup(command) => command.run(),
        Command::Restore(command) => common::block_on(command.run()),
        Command::Visits(command) => common::block_on(command.run()),
        Command::Notes(command) => common::block_on(command.run()),
        Command::Days(command) => common::block_on(command.run()),
        Command::Feed(command) => common::block_on(command.run()),
        Command::Stations(command) => common::block_on(command.run()),
        Command::Heat(command) => command.run(),
        Command::Screen(command) => command.run(),
        Command::Fill(command) => command.run(),
        Command::Hindcast(command) => command.run(),
        Command::Manual(command) => command.run(Cli::command()),
    };
    match outcome {
        Ok(()) => ExitCode::SUCCESS,
        Err(Failure { exit, cause }) => {
            eprintln!("error: {cause:#}");
            ExitCode::from(exit as u8)
        }
    }
}
