//! `stepbell ready`: looks at what this computer can and cannot do, says what helps, and lets a person
//! hear, and tap along with, what a run will sound like.

use std::io::{self, Write};

use clap::Args;

use super::Surroundings;
use super::args::Figures;
use super::exit::Exit;
use super::ready_keys;
use super::sound::{self, NO_VOICE, SoundArgs, UNMEASURED, Which, spoken};
use crate::clock::{Millis, Moment};
use crate::edge::asking::{Asking, Reply};
use crate::edge::clock::{RunClock, wall_label};
use crate::edge::records::default_folder;
use crate::edge::settings::kept_keys;
use crate::edge::signals::Signal;
use crate::edge::sound_check::{self, SoundCheck};
use crate::edge::speaker::Speaker;
use crate::edge::{fitness, player};
use crate::faces::ready::{Fact, State, json, line};
use crate::faces::sounds::Sounds;
use crate::faces::tapping::{LATEST, PERIODS, TAIL, Unclear, lag, rows};
use crate::journal::happened::{Cue, Tone};

/// What is said to try the voice.
const SENTENCE: &str = "This is the voice of the guide.";
/// Between two signals.
const PAUSE: Millis = Millis(1600);

/// `ready`
#[derive(Args, Clone, Debug)]
#[command(after_help = "\
The sound check rings the three signals and says a sentence; only you can say whether they were heard. \
Make it with the noise and the ear protection of the real work. Then you tap along with ticks, so that \
the lag of the loudspeaker is known: runs count with it. Both are kept for the next runs.")]
pub struct ReadyArgs {
    /// Instead of all that: show what each press of a foot switch, a presenter or a key sends, measure how
    /// it repeats while it is held down, and assign it
    #[arg(long, conflicts_with_all = ["look", "format", "voice", "language", "rate", "player"])]
    pub keys: bool,
    /// Only look; ring nothing and ask nothing
    #[arg(long)]
    pub look: bool,
    /// How to answer; as JSON nothing is asked
    #[arg(long, value_enum, default_value = "human")]
    pub format: Figures,
    /// What is to be heard.
    #[command(flatten)]
    pub sound: SoundArgs,
}

/// Looks, tells, asks.
#[must_use]
pub fn run(args: &ReadyArgs, around: &Surroundings) -> Exit {
    if args.keys {
        return ready_keys::run(around);
    }
    let mut told =
        Told { facts: Vec::new(), human: args.format == Figures::Human, raw: false, ended: None };
    match all(args, around, &mut told) {
        Ok(heard) => told.end(heard),
        // Whoever read it has gone.
        Err(why) if why.kind() == io::ErrorKind::BrokenPipe => Exit::Unable,
        Err(why) => {
            let _ = writeln!(io::stderr(), "stepbell: {why}");
            Exit::Unable
        }
    }
}

/// What has been told so far, and how.
struct Told {
    facts: Vec<Fact>,
    human: bool,
    /// Whether the terminal wants its lines ended twice.
    raw: bool,
    /// The signal that has ended the questions.
    ended: Option<Signal>,
}

impl Told {
    fn say(&mut self, text: &str) -> io::Result<()> {
        if !self.human {
            return Ok(());
        }
        let text = if self.raw { text.replace('\n', "\r\n") } else { text.to_owned() };
        let mut out = io::stdout().lock();
        out.write_all(text.as_bytes())?;
        out.flush()
    }

    fn fact(&mut self, fact: Fact) -> io::Result<()> {
        let text = line(&fact);
        self.facts.push(fact);
        self.say(&text)
    }

    fn end(&self, heard: Option<bool>) -> Exit {
        if !self.human {
            let text = serde_json::to_string_pretty(&json(&self.facts, heard)).unwrap_or_default();
            if writeln!(io::stdout(), "{text}").is_err() {
                return Exit::Unable;
            }
        }
        match self.ended {
            Some(Signal::Terminate) => return Exit::Terminated,
            Some(Signal::HangUp) => return Exit::HungUp,
            Some(Signal::Interrupt) => return Exit::Interrupted,
            _ => {}
        }
        let any = |state| self.facts.iter().any(|fact| fact.state == state);
        match (any(State::Bad), any(State::Missing) || heard == Some(false)) {
            (true, _) => Exit::Unable,
            (false, true) => Exit::Findings,
            (false, false) => Exit::Done,
        }
    }
}

/// Whether a person heard it, where one was asked.
fn all(args: &ReadyArgs, around: &Surroundings, told: &mut Told) -> io::Result<Option<bool>> {
    told.fact(fitness::clock())?;
    let folder = default_folder(around.state_home.as_deref(), around.home.as_deref());
    told.fact(fitness::records(folder.as_deref()))?;
    told.fact(fitness::terminal(around.terminal, !around.no_colour))?;
    told.fact(fitness::page())?;
    let speaker = heard(args, around, told)?;
    let kept = sound_check::place(around.config_home.as_deref(), around.home.as_deref());
    told.fact(
        Fact::new("quiet", State::You, "a notification sounds like a cue")
            .mend("switch on do-not-disturb here and on the phone; turn the volume up"),
    )?;
    let Some((mut speaker, sentence)) = speaker else { return Ok(None) };
    let asks = told.human && !args.look && args.sound.is_wanted(around);
    if !asks {
        let before = kept.as_deref().and_then(sound_check::load);
        told.fact(checked(before.as_ref(), speaker.player()))?;
        return Ok(None);
    }
    let keys = kept_keys(around.config_home.as_deref(), around.home.as_deref()).map;
    let asking = Asking::begin(around.terminal, keys)?;
    told.raw = around.terminal;
    let outcome = check(&mut speaker, sentence, &asking, told);
    speaker.finish();
    told.ended = asking.ended_by();
    drop(asking);
    told.raw = false;
    let (heard, lag) = outcome?;
    if heard == Some(true) {
        let check = SoundCheck::new(speaker.player(), lag, wall_label());
        let saved = kept.ok_or_else(|| "no folder for settings is known".to_owned());
        match saved.and_then(|place| sound_check::save(&place, &check).map(|()| place)) {
            Ok(place) => told.say(&format!("Kept for the next runs in {}.\n", place.display()))?,
            Err(why) => told.say(&format!("This cannot be kept for the next runs: {why}\n"))?,
        }
    }
    Ok(heard)
}

/// What an earlier sound check says.
fn checked(before: Option<&SoundCheck>, player: &str) -> Fact {
    let how = "stepbell ready, without --look, in a terminal";
    match before {
        Some(check) if check.player == player => {
            let lag = check.lag().map_or_else(
                || "its lag not measured".to_owned(),
                |lag| format!("its lag at most {lag}"),
            );
            Fact::new("heard", State::Ok, format!("{player}, by a person, {}; {lag}", check.at))
        }
        Some(check) => {
            let found = format!("{} was heard on {}, not {player}", check.player, check.at);
            Fact::new("heard", State::You, found).mend(how)
        }
        None => {
            Fact::new("heard", State::You, "nobody has said yet that it can be heard").mend(how)
        }
    }
}

/// Voice and player, as facts; the loudspeaker where there is one, and how long the sentence lasts.
fn heard(
    args: &ReadyArgs,
    around: &Surroundings,
    told: &mut Told,
) -> io::Result<Option<(Speaker, Millis)>> {
    let which = args.sound.voice.clone().unwrap_or_default();
    let bank = match spoken(&which, &args.sound.speaking, around, &[SENTENCE]) {
        Ok(spoken) => {
            told.fact(voice(&which, &spoken))?;
            spoken.bank
        }
        Err(why) => {
            told.fact(Fact::new("voice", State::Missing, why).mend("mend the recordings"))?;
            None
        }
    };
    if args.sound.player.as_deref() == Some("none") {
        told.fact(Fact::new("player", State::Missing, "none is wanted"))?;
        return Ok(None);
    }
    let player = args.sound.player.as_deref();
    let sentence = bank.as_ref().and_then(|bank| bank.length(SENTENCE)).unwrap_or_default();
    match sound::speaker(player, around, bank.map(std::sync::Arc::new), &[]) {
        Ok(speaker) => {
            told.fact(Fact::new(
                "player",
                State::Ok,
                format!("{} takes sound as fast as it sounds", speaker.player()),
            ))?;
            Ok(Some((speaker, sentence)))
        }
        Err(why) => {
            let packages = player::KNOWN.iter().map(|known| known.package);
            let packages: Vec<_> = packages.filter(|name| !name.is_empty()).collect();
            let mend = if player::found(around.path.as_deref()).is_empty() {
                format!("install one of {}; on Debian: apt install {}", packages.join(", "), ALSA)
            } else {
                "see whether a loudspeaker is chosen in the desktop's sound settings".to_owned()
            };
            told.fact(Fact::new("player", State::Missing, why.whole()).mend(mend))?;
            Ok(None)
        }
    }
}

/// The smallest package with a player that needs no sound server.
const ALSA: &str = "alsa-utils";

fn voice(which: &Which, spoken: &sound::Spoken) -> Fact {
    match (&spoken.bank, which) {
        (Some(bank), Which::Pack(_)) => {
            let texts = bank.own.len();
            let found = format!("recordings by {}, {texts} of the program's own words", bank.voice);
            Fact::new("voice", State::Ok, found)
        }
        (Some(bank), _) => {
            let length = bank.length(SENTENCE).unwrap_or_default();
            let found = format!("{}; a sentence of 7 words lasts {length}", bank.voice);
            Fact::new("voice", State::Ok, found)
        }
        (None, Which::None) => Fact::new("voice", State::Missing, "none is wanted"),
        (None, _) => {
            let why = spoken.missing.join("; ");
            let mend = if why == NO_VOICE && cfg!(target_os = "linux") {
                "on Debian: apt install espeak-ng; or record your own, see --voice"
            } else {
                "another --language, or record your own, see --voice"
            };
            Fact::new("voice", State::Missing, why).mend(mend)
        }
    }
}

type Checked = (Option<bool>, Option<(Millis, usize)>);

/// The sound check: rings and says, asks whether it was heard, lets the person tap along.
fn check(
    speaker: &mut Speaker,
    sentence: Millis,
    asking: &Asking,
    told: &mut Told,
) -> io::Result<Checked> {
    let mut clock = RunClock::start();
    told.say(
        "\nSound check. Make the noise that will be there; put your ear protection on.\n\
         You hear: prepare (two calm pulses), now (five quick ones), missed (a long one and a short \
         one), and a sentence, if there is a voice.\n",
    )?;
    loop {
        let early = sample(speaker, sentence, asking, &mut clock);
        told.say(
            "? Did you hear all of it, clearly?  [Space or yes · e or no · a or again · q or stop]\n",
        )?;
        match early.or_else(|| asking.forget()).unwrap_or_else(|| asking.answer()) {
            Reply::Again => {}
            Reply::Yes => break,
            Reply::No => {
                told.say(
                    "Not heard. Turn the volume up, choose the loudspeaker in the desktop's sound \
                     settings, or try --player NAME. The screen shows everything that rings.\n",
                )?;
                return Ok((Some(false), None));
            }
            Reply::Stop | Reply::Ended => {
                told.say("Nobody has said that it was heard.\n")?;
                return Ok((None, None));
            }
        }
    }
    loop {
        told.say(
            "Now tap Space (or Enter) along with the ticks: two rows of ten, the second one quicker. In \
             each row listen to the first three, then tap at each.\n",
        )?;
        let (ticks, taps) = tap_along(speaker, asking, &mut clock);
        if let Some(why) = speaker.trouble() {
            told.say(&format!("{why}\n"))?;
            return Ok((Some(false), None));
        }
        match lag([&ticks[0], &ticks[1]], &taps) {
            Ok(found) => {
                told.say(&format!(
                    "A cue is heard at most {} after it is given ({} taps within {}). Runs count with \
                     that.\n",
                    found.lag, found.taps, found.spread
                ))?;
                return Ok((Some(true), Some((found.lag, found.taps))));
            }
            Err(unclear) => {
                told.say(&format!(
                    "The lag is not measured: {}.\n? Once more?  [Space or yes · e or no]\n",
                    not_measured(unclear)
                ))?;
                let answer = asking.forget().unwrap_or_else(|| asking.answer());
                if !matches!(answer, Reply::Yes | Reply::Again) {
                    told.say(&format!(
                        "Runs count with {UNMEASURED}, as for a wired loudspeaker. With a wireless one \
                         make this check again.\n"
                    ))?;
                    return Ok((Some(true), None));
                }
            }
        }
    }
}

/// Why there is no lag, and what helps.
fn not_measured(unclear: Unclear) -> String {
    match unclear {
        Unclear::TooFew(taps) => {
            let plural = if taps == 1 { "" } else { "s" };
            format!("only {taps} tap{plural} fell beside a tick in one of the rows")
        }
        Unclear::Unsteady(spread) => format!("the taps lie {spread} apart"),
        Unclear::Either(one, other) => {
            format!("the taps fit a lag of about {one} as well as one of about {other}")
        }
        Unclear::TooLate => {
            format!("the sound comes more than {LATEST} late. Use a loudspeaker with a cable")
        }
    }
}

/// The three signals and a sentence, all of it: a key that is pressed meanwhile answers nothing. A line
/// of a pipe that comes early cuts it short, and counts.
fn sample(
    speaker: &mut Speaker,
    sentence: Millis,
    asking: &Asking,
    clock: &mut RunClock,
) -> Option<Reply> {
    for tone in [Tone::Prepare, Tone::Now, Tone::Missed] {
        speaker.ring(tone);
        if let Some(reply) = asking.pass(clock, clock.now().after(PAUSE)) {
            return Some(reply);
        }
    }
    speaker.say(Cue::Question, SENTENCE);
    let over = clock.now().after(sentence).after(UNMEASURED);
    asking.pass(clock, over)
}

/// Rings both rows of ticks; gives when each was given and when the person tapped.
fn tap_along(
    speaker: &mut Speaker,
    asking: &Asking,
    clock: &mut RunClock,
) -> ([Vec<Moment>; 2], Vec<Moment>) {
    let ticks = rows(clock.now().after(PERIODS[0]));
    let mut taps = Vec::new();
    let last = ticks[1].last().map(|last| last.after(TAIL));
    for due in ticks.iter().flatten().copied().chain(last) {
        loop {
            match asking.until(clock, due) {
                None => break,
                Some((Reply::Yes, at)) => taps.push(at),
                Some((Reply::Stop | Reply::Ended, _)) => return ([Vec::new(), Vec::new()], taps),
                Some(_) => {}
            }
        }
        // The last moment only waits for the last tap.
        if Some(due) != last {
            speaker.ring(Tone::Tick);
        }
    }
    (ticks, taps)
}
