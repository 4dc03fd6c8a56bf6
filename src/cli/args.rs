//! What can be typed after `stepbell`: only declared here, done elsewhere.

use std::path::PathBuf;

use clap::{Args, Parser, Subcommand, ValueEnum};

use super::network::NetworkArgs;
use super::ready::ReadyArgs;
use super::replay::ReplayArgs;
use super::sound::{SoundArgs, Speaking, Which};
use super::tally::TallyArgs;
use super::view::ViewArgs;
use crate::edge::clock::Pace;
use crate::edge::keymap::KeyMap;
use crate::edge::page::Where;
use crate::faces::orders::refused;
use crate::vehicle::law::{Spread, Spreads};
use crate::vehicle::order::Order;

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
    /// Practise without a vehicle, or play many runs for the odds
    Rehearse(RehearseArgs),
    /// Say what this computer can and cannot do; try its sound and a foot switch
    Ready(ReadyArgs),
    /// Show a record again, or what it says in short
    Replay(ReplayArgs),
    /// Say what many records say together
    Tally(TallyArgs),
    /// Make the apprentice's sheet: one page that prints, as HTML or Markdown
    Sheet(SheetArgs),
    /// Check plain temporal networks (`.tn` files)
    Network(NetworkArgs),
    /// Serve an editor over standard input and output
    LanguageServer,
    /// Print what a shell needs to complete these commands
    Completions(CompletionsArgs),
    /// Print the manual page, for `stepbell man | man -l -`
    Man,
}

/// `check`
#[derive(Args, Clone, Debug)]
#[command(mut_arg("language", |arg| arg.requires("voice")))]
#[command(mut_arg("rate", |arg| arg.requires("voice")))]
pub struct CheckArgs {
    /// The scripts; `-` is standard input
    #[arg(required = true, value_name = "FILE")]
    pub files: Vec<PathBuf>,
    /// How to answer
    #[arg(long, value_enum, default_value = "human")]
    pub format: Format,
    /// Show what every window and every cue has to spare, not only the tightest; JSON always has all
    #[arg(long)]
    pub all: bool,
    /// Render every prompt first (or take recordings: --voice=FOLDER), show how long each is, and count
    /// with that instead of the model
    #[arg(long, value_name = "FOLDER", num_args = 0..=1, require_equals = true,
          default_missing_value = "auto", value_parser = Which::parse)]
    pub voice: Option<Which>,
    /// How it speaks.
    #[command(flatten)]
    pub speaking: Speaking,
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
Keys: Space, Enter, PageDown or → done · e, PageUp or ← something else · 1 to 9 a numbered answer · \
s slip, I did something else than told · a, . or ↑ say again · b or Backspace take the last press \
back · h hold at the next resting point · q or Esc stop. Foot switches and presenters send these.

Without a terminal it writes plain lines and reads answers as lines: done, 1 to 9, else, slip, again, \
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
    /// Other keys, as in `done=F5,done=b,stop=Esc`; names: done, else, slip, again, back, hold, stop,
    /// and act for your hand in a rehearsal; `done+=F5` adds; for a foot switch that repeats slowly: held=900ms, repeat=400ms. By default those
    /// that `ready --keys` has kept
    #[arg(long, value_name = "NAME=KEY,…", value_parser = KeyMap::parse)]
    pub keys: Option<KeyMap>,
    /// Who is led, for the record; a pseudonym will do
    #[arg(long, value_name = "LABEL")]
    pub operator_label: Option<String>,
    /// Begin although the timing is not proven, and why; the reason is recorded
    #[arg(long, value_name = "REASON")]
    pub unproven: Option<String>,
    /// How it is shown.
    #[command(flatten)]
    pub view: ViewArgs,
    /// A page for a phone.
    #[command(flatten)]
    pub page: PageArgs,
    /// What is to be heard.
    #[command(flatten)]
    pub sound: SoundArgs,
}

/// A page for a phone, for every command that leads or shows.
#[derive(Args, Clone, Debug, Default)]
pub struct PageArgs {
    /// Serve a page that shows and takes what the keys do: `here` for this computer only, `lan` for a
    /// phone in the same network, or an address of this computer; each perhaps with `:PORT`
    #[arg(long, value_name = "WHERE", num_args = 0..=1, require_equals = true,
          default_missing_value = "here", value_parser = Where::parse)]
    pub page: Option<Where>,
    /// Encrypt the page, with a certificate made for this run; its fingerprint is shown
    #[arg(long, requires = "page")]
    pub https: bool,
}

/// `rehearse`
#[derive(Args, Clone, Debug)]
#[command(after_help = "\
Live: Tab or v (or what --keys act=F5 says) is your hand at the vehicle, one tap an act (or a stroke of a count; what \
is held for a time is let go with a second tap); on lines, the word `act`. All other keys \
are those of `guide`. At the end there is a score; the record says what it is. \
The exit code judges you, not the imaginary vehicle: 0 where every act came in time and \
everything was told as it was, 1 otherwise or where you stop.

Faults: silence, other-answer, slow-answer, lost-guard, slip, memory-full; `silence@wake` \
in that step, `slip@press/2` in its second turn. Without a step the seed chooses where.

Lengths are drawn inside the script's bounds (--inside), or with tails: never quicker \
than the least, and one of twenty longer than the most. The spread is the standard \
deviation of the logarithm.")]
pub struct RehearseArgs {
    /// Play so many runs by imaginary hands instead, and tell the odds
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u64).range(1..=100_000_000),
          conflicts_with_all = ["record", "keys", "operator_label", "unproven", "page", "voice", "player",
                                "big", "inline", "linear"])]
    pub runs: Option<u64>,
    /// What goes wrong, by name; may be given more than once
    #[arg(long, value_name = "NAME[@STEP]", value_parser = order)]
    pub fault: Vec<Order>,
    /// The same number gives the same vehicle; live, by default, another one each time
    #[arg(long, value_name = "NUMBER")]
    pub seed: Option<u64>,
    /// Live: slower, from 0.1 to 1 of the true pace
    #[arg(long, value_name = "PART", value_parser = pace, conflicts_with = "runs")]
    pub pace: Option<Pace>,
    /// Live: whether the faces say what to do; without, `say again` shows it
    #[arg(long, value_enum, default_value = "on", conflicts_with = "runs")]
    pub hints: OnOff,
    /// Live: whose hands touch the vehicle, your own by a key, or imaginary ones
    #[arg(long, value_enum, default_value = "own", conflicts_with = "runs")]
    pub hands: Whose,
    /// Live: readings, affirmations and the checklist are answered for you, and told; cautions stay
    #[arg(long, conflicts_with = "runs")]
    pub short: bool,
    /// Draw every length inside the script's bounds
    #[arg(long, conflicts_with = "spread")]
    pub inside: bool,
    /// Other spreads, from 0 to 1.5
    #[arg(long, value_name = "hands=0.5,reports=0.5,vehicle=0.25", value_parser = spreads)]
    pub spread: Option<Spreads>,
    /// Odds: how many of a group, as in `spares=2`; by default the least
    #[arg(long, value_name = "NAME=N", value_parser = count, requires = "runs")]
    pub count: Vec<(String, u32)>,
    /// Odds: how to answer
    #[arg(long, value_enum, default_value = "human", requires = "runs")]
    pub format: Figures,
    /// Odds: draw what was left of each window
    #[arg(long, value_name = "FILE.svg", requires = "runs", value_parser = svg)]
    pub picture: Option<PathBuf>,
    /// Odds: on so many threads; by default one a core
    #[arg(long, value_name = "N", requires = "runs", value_parser = clap::value_parser!(u16).range(1..=512))]
    pub threads: Option<u16>,
    /// What a live run is told.
    #[command(flatten)]
    pub guide: GuideArgs,
}

/// A switch.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum OnOff {
    /// On.
    On,
    /// Off.
    Off,
}

/// Whose hands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Whose {
    /// Your own: a key is your hand
    Own,
    /// Imaginary ones: you only tell what the vehicle answers
    Drawn,
}

/// A pace with at most three decimals.
fn pace(text: &str) -> Result<Pace, String> {
    let read = thousandths(text.trim()).and_then(|pace| u16::try_from(pace).ok());
    read.and_then(Pace::new).ok_or_else(|| {
        "from 0.1 to 1, as in 0.5 for half the pace; a rehearsal is never faster than true"
            .to_owned()
    })
}

/// How to tell figures.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Figures {
    /// A report for people
    Human,
    /// One JSON document for programs
    Json,
}

fn order(text: &str) -> Result<Order, String> {
    text.parse().map_err(|why| refused(&why))
}

fn count(text: &str) -> Result<(String, u32), String> {
    let pair = text.split_once('=');
    let read = pair.and_then(|(name, n)| Some((name.trim().to_owned(), n.trim().parse().ok()?)));
    read.ok_or_else(|| "a group of the script and how many, as in spares=2".to_owned())
}

/// Spreads by name, each from 0 to 1.5 with at most three decimals.
fn spreads(text: &str) -> Result<Spreads, String> {
    let mut spreads = Spreads::default();
    for part in text.split(',') {
        let why =
            || format!("`{part}` is not hands=0.5, reports=0.5 or vehicle=0.25, from 0 to 1.5");
        let (name, value) = part.split_once('=').ok_or_else(why)?;
        let spread = thousandths(value.trim()).map(Spread).filter(|s| s.0 <= Spread::WIDEST.0);
        let spread = spread.ok_or_else(why)?;
        match name.trim() {
            "hands" => spreads.hands = spread,
            "reports" => spreads.reports = spread,
            "vehicle" => spreads.vehicle = spread,
            _ => return Err(why()),
        }
    }
    Ok(spreads)
}

/// A plain decimal with at most three places, in thousandths.
fn thousandths(text: &str) -> Option<u32> {
    let (whole, part) = text.split_once('.').unwrap_or((text, "0"));
    let digits = |s: &str| !s.is_empty() && s.bytes().all(|b| b.is_ascii_digit());
    if !digits(whole) || !digits(part) || part.len() > 3 || whole.len() > 3 {
        return None;
    }
    let whole: u32 = whole.parse().ok()?;
    let part: u32 = format!("{part:0<3}").parse().ok()?;
    Some(whole * 1000 + part)
}

fn svg(text: &str) -> Result<PathBuf, String> {
    let path = PathBuf::from(text);
    match path.extension().is_some_and(|ending| ending.eq_ignore_ascii_case("svg")) {
        true => Ok(path),
        false => Err("the picture's name must end in .svg".to_owned()),
    }
}

/// `sheet`
#[derive(Args, Clone, Debug)]
#[command(after_help = "\
The page needs nothing from outside: style and picture are inside it. It is written as NAME.html (or \
NAME.md) where the command is given.

A table NAME.ways.csv beside the script compares ways to get the key. Its first line names the \
columns: way, once, each, and if you like minutes each and note. A unit may stand in brackets: \
`once (crowns)`.")]
pub struct SheetArgs {
    /// The script
    #[arg(value_name = "FILE")]
    pub file: PathBuf,
    /// A page for the browser and the printer, or text with marks
    #[arg(long, value_enum, default_value = "html")]
    pub format: SheetFormat,
    /// Where to write it; `-` is standard output
    #[arg(long, value_name = "FILE")]
    pub to: Option<PathBuf>,
    /// In large print, for a wall
    #[arg(long)]
    pub wall: bool,
    /// A table of ways to get the key, with your own costs
    #[arg(long, value_name = "FILE")]
    pub ways: Option<PathBuf>,
}

/// What a sheet is made of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum SheetFormat {
    /// One page for the browser and the printer
    Html,
    /// Text with marks
    Markdown,
}
