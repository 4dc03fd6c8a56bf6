//! The commands: each takes what was asked, already read, and gives text and an exit code.
//!
//! Takes the command line and the [`Surroundings`] that `main` has read; gives an [`exit::Exit`].

pub mod args;
pub mod check;
pub mod exit;
pub mod guide;
pub mod language_server;
pub mod network;
pub mod odds;
pub mod out;
pub mod page;
pub mod ready;
pub mod ready_keys;
pub mod rehearse;
pub mod replay;
pub mod script;
pub mod sheet;
pub mod shell;
pub mod sound;
pub mod tally;
pub mod tidy;
pub mod view;
pub mod why;

use std::ffi::OsString;
use std::io;
use std::path::PathBuf;

use clap::Parser;
use clap::error::ErrorKind;

use crate::edge::files;
use crate::faces::safe::safe;
use args::{Cli, Command};
use exit::Exit;
use out::Answer;

/// What the program finds around it, read once.
#[derive(Clone, Debug, Default)]
pub struct Surroundings {
    /// The words after the program's name, that included.
    pub args: Vec<OsString>,
    /// `XDG_STATE_HOME`.
    pub state_home: Option<OsString>,
    /// `HOME`.
    pub home: Option<OsString>,
    /// `XDG_CONFIG_HOME`.
    pub config_home: Option<OsString>,
    /// Whether colour is unwelcome (`NO_COLOR`, or a terminal that has none).
    pub no_colour: bool,
    /// Whether standard output is a terminal.
    pub out_is_terminal: bool,
    /// Whether standard input is a terminal too.
    pub terminal: bool,
    /// `PATH`: where other programs lie.
    pub path: Option<OsString>,
    /// `XDG_CACHE_HOME`.
    pub cache_home: Option<OsString>,
    /// The folder for temporary files.
    pub temporary: PathBuf,
    /// Whether the terminal is said to take block characters (a UTF-8 locale).
    pub blocks: bool,
    /// `STEPBELL_VIEW`.
    pub view: Option<OsString>,
    /// `STEPBELL_REDUCED_MOTION`, set to anything but 0.
    pub reduced_motion: bool,
    /// Where records go that cannot be written where they should.
    pub second: Option<PathBuf>,
}

/// Does what was asked; gives how it ended.
#[must_use]
pub fn run(around: &Surroundings) -> Exit {
    let cli = match Cli::try_parse_from(&around.args) {
        Ok(cli) => cli,
        Err(told) => return usage(&told),
    };
    let colour = around.out_is_terminal && !around.no_colour;
    match cli.command {
        Command::Check(args) => out::say(&check::run(&args, around, colour)),
        Command::Tidy(args) => out::say(&tidy::run(&args)),
        Command::Why(args) => out::say(&why::run(&args)),
        Command::Guide(args) => guide::run(&args, around),
        Command::Rehearse(args) => rehearse::run(&args, around),
        Command::Ready(args) => ready::run(&args, around),
        Command::Replay(args) => replay::run(&args, around),
        Command::Tally(args) => out::say(&tally::run(&args)),
        Command::Sheet(args) => out::say(&sheet::run(&args)),
        Command::Network(args) => out::say(&networks(&args)),
        Command::LanguageServer => language_server::run(around),
        Command::Completions(args) => out::say(&shell::completions(&args)),
        Command::Man => out::say(&shell::man()),
    }
}

/// Help and version are answers; anything else is wrong usage.
fn usage(told: &clap::Error) -> Exit {
    let shown = told.print();
    match told.kind() {
        ErrorKind::DisplayHelp | ErrorKind::DisplayVersion => match shown {
            Err(why) if why.kind() != io::ErrorKind::BrokenPipe => Exit::Unable,
            _ => Exit::Done,
        },
        _ => Exit::Usage,
    }
}

fn networks(args: &network::NetworkArgs) -> Answer {
    let read = |path: &PathBuf| {
        let name = safe(&path.display().to_string()).into_owned();
        let text = files::read_network(path).map(|source| source.text().to_owned());
        (name, text.map_err(|why| why.reason()))
    };
    let inputs: Vec<_> = args.files.iter().map(read).collect();
    let given = network::run(&inputs, &args.options());
    let exit = match given.exit {
        0 => Exit::Done,
        1 => Exit::Findings,
        2 => Exit::Usage,
        _ => Exit::Unreadable,
    };
    Answer { out: given.stdout, err: given.stderr, exit }
}
