//! What can be typed after `stepbell`: only declared here, done elsewhere.

use std::path::PathBuf;

use clap::{Args, Parser, Subcommand, ValueEnum};

use super::network::NetworkArgs;
use crate::edge::keys::KeyMap;

/// Write a timed key-learning sequence down once, have its timing checked, be led through it, keep
/// the record.
#[derive(Clone, Debug, Parser)]
#[command(
    name = "stepbell",
    version,
    max_term_width = 96,
    arg_required_else_help = true,
    after_help = "\
A first look:
  stepbell check procedures/push-start-spare.bell     what is wrong with a script, if anything
  stepbell guide procedures/push-start-spare.bell     be led through it, with a countdown
  stepbell replay RECORD --summary                    what happened, step by step

It never talks to a vehicle. A script's numbers are its author's claim; local rules and licensed
practice come first.

Exit codes: 0 done · 1 findings · 2 wrong usage · 3 unreadable input · 4 the computer cannot ·
5 ran, but not recorded · 129, 130, 143 ended by a closed terminal, Ctrl-C, a termination"
)]
pub struct Cli {
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

/// The commands.
#[derive(Clone, Debug, Subcommand)]
pub enum Command {
    /// Read scripts and say what is wrong with them
    Check(CheckArgs),
    /// Lay scripts out in the one canonical form; comments are kept
    Tidy(TidyArgs),
    /// Say what a complaint means, why it matters and how to mend it
    Why(WhyArgs),
    /// Lead a person through a script, live, and record it
    Guide(GuideArgs),
    /// Show a record again, or what it says in short
    Replay(ReplayArgs),
    /// Check plain temporal networks (`.tn` files)
    Network(NetworkArgs),
    /// Print what a shell needs to complete these commands
    Completions(CompletionsArgs),
    /// Print the manual page, for `stepbell man | man -l -`
    Man,
}

/// `check`
#[derive(Args, Clone, Debug)]
pub struct CheckArgs {
    /// The scripts; `-` is standard input
    #[arg(required = true, value_name = "FILE")]
    pub files: Vec<PathBuf>,
    /// How to answer
    #[arg(long, value_enum, default_value = "human")]
    pub format: Format,
}

/// How to answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Format {
    /// Pictures of the places for people
    Human,
    /// One JSON document for programs
    Json,
    /// One SARIF 2.1.0 log, for code review and dashboards
    Sarif,
}

/// `tidy`
#[derive(Args, Clone, Debug)]
pub struct TidyArgs {
    /// The scripts; `-` reads standard input and writes to standard output
    #[arg(required = true, value_name = "FILE")]
    pub files: Vec<PathBuf>,
    /// Only say which files are not in canonical form; write nothing
    #[arg(long)]
    pub check: bool,
}

/// `why`
#[derive(Args, Clone, Debug)]
pub struct WhyArgs {
    /// The code as `check` shows it; without one, all codes are listed
    #[arg(value_name = "CODE")]
    pub code: Option<String>,
}

/// `completions`
#[derive(Args, Clone, Debug)]
#[command(after_help = "\
To have them in every new shell:
  bash   stepbell completions bash > ~/.local/share/bash-completion/completions/stepbell
  zsh    stepbell completions zsh > _stepbell     in a folder of $fpath
  fish   stepbell completions fish > ~/.config/fish/completions/stepbell.fish")]
pub struct CompletionsArgs {
    /// The shell
    #[arg(value_enum, value_name = "SHELL")]
    pub shell: clap_complete::Shell,
}

/// `guide`
#[derive(Args, Clone, Debug)]
#[command(after_help = "\
Keys: Space, Enter, PageDown or → done · e, PageUp or ← something else · 1 to 9 a numbered answer ·
s slip, I did something else than told · a, . or ↑ say again · b or Backspace take the last press
back · h hold at the next resting point · q or Esc stop. Foot switches and presenters send these.

Without a terminal it writes plain lines and reads answers as lines: done, 1 to 9, else, slip, again,
back, hold, stop, yes, no, a value; `wait 2s` waits before the next line is read.")]
pub struct GuideArgs {
    /// The script
    #[arg(value_name = "FILE")]
    pub file: PathBuf,
    /// The folder for the record; it must exist. By default a folder of the user's own
    #[arg(long, value_name = "DIR", conflicts_with = "no_record")]
    pub record: Option<PathBuf>,
    /// Keep no record
    #[arg(long)]
    pub no_record: bool,
    /// Other keys, as in `done=F5,done=b,stop=Esc`; names: done, else, slip, again, back, hold, stop
    #[arg(long, value_name = "NAME=KEY,…", value_parser = KeyMap::parse)]
    pub keys: Option<KeyMap>,
    /// Who is led, for the record; a pseudonym will do
    #[arg(long, value_name = "LABEL")]
    pub operator_label: Option<String>,
    /// Begin although the timing is not proven, and why; the reason is recorded
    #[arg(long, value_name = "REASON")]
    pub unproven: Option<String>,
    /// Plain lines also in a terminal
    #[arg(long)]
    pub plain: bool,
}

/// `replay`
#[derive(Args, Clone, Debug)]
pub struct ReplayArgs {
    /// The record; `-` is standard input
    #[arg(value_name = "RECORD")]
    pub record: PathBuf,
    /// How many times faster than it happened; 0 shows all at once
    #[arg(long, value_name = "N", default_value = "1", value_parser = speed,
          conflicts_with_all = ["summary", "check"])]
    pub speed: u32,
    /// Only a table of the steps: when, how it ended, how long, what was left of each window
    #[arg(long, conflicts_with = "check")]
    pub summary: bool,
    /// Run the recorded inputs through the guide again and compare what it does
    #[arg(long)]
    pub check: bool,
    /// Plain lines also in a terminal
    #[arg(long)]
    pub plain: bool,
}

fn speed(text: &str) -> Result<u32, String> {
    match text.parse() {
        Ok(speed) if speed <= 1000 => Ok(speed),
        _ => Err("a whole number from 0 to 1000".to_owned()),
    }
}
