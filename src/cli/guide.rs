//! `stepbell guide FILE`: takes a script, leads a person through it live, keeps the record.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::Surroundings;
use super::args::GuideArgs;
use super::check::proved;
use super::exit::Exit;
use super::out::{self, Answer};
use super::page;
use super::rehearse::Rehearsal;
use super::script::{examined, pictures, worst_length};
use super::sound::{Heard, Texts};
use crate::edge::clock::Pace;
use crate::edge::console::{Console, Look, Opening};
use crate::edge::records::{ENDING, Found, Unfinished, Wanted, default_folder, find_unfinished};
use crate::edge::run::{How, Live, Outcome, TakeUp, live};
use crate::edge::settings::{KeptKeys, kept_keys};
use crate::edge::writer::{Finish, Place, Plan};
use crate::faces::practice::all_aloud;
use crate::faces::verdict::verdict;
use crate::faces::voicing::{besides, is_english, questions, spoken};
use crate::faces::words::{Banner, KeyNames, Setting};
use crate::guide::Settings;
use crate::journal::convert::{Context, effect_of};
use crate::journal::entry::{self, Body, Header, RunKind, ScriptFile};
use crate::journal::happened as h;
use crate::journal::spoken::{source_name, spoken as kept};
use crate::procedure::Examined;
use crate::procedure::model::{Procedure, Status};
use crate::procedure::timing::SpeechLengths;
use crate::proof::timing::network;
use crate::proof::verdict::Verdict;
use crate::training::score::Score;

/// Leads a person through the script.
#[must_use]
pub fn run(args: &GuideArgs, around: &Surroundings) -> Exit {
    let mut examined = match examined(&args.file) {
        Ok(examined) => examined,
        Err(why) => return out::say(&Answer::trouble(Exit::Unreadable, why)),
    };
    let sound = examined.is_sound();
    let Some(procedure) = examined.procedure.clone().filter(|_| sound) else {
        let text = pictures(&examined, false);
        let text = format!("{text}\nstepbell: not led through while an error stands.\n");
        return out::say(&Answer { out: String::new(), err: text, exit: Exit::Findings });
    };
    let face = match args.view.look(around, "big") {
        Ok(face) => face,
        Err(why) => return out::say(&Answer::trouble(Exit::Usage, why)),
    };
    let heard = match heard(args, around, &mut examined, &procedure, None) {
        Ok(heard) => heard,
        Err(why) => return out::say(&Answer::trouble(Exit::Unreadable, why)),
    };
    let reason = match reason(args, &examined) {
        Ok(reason) => reason,
        Err(refused) => {
            return out::say(&Answer { out: String::new(), err: refused, exit: Exit::Findings });
        }
    };
    let faces = Faces { heard, face };
    match lead(args, around, &examined, procedure, faces, reason.as_deref(), None) {
        Ok(outcome) => ended(&outcome),
        Err(why) => out::say(&Answer::trouble(Exit::Unable, why)),
    }
}

/// Told where a script is practised that nobody is led through without a reason.
const PRACTISED_UNPROVEN: &str =
    "not proven: a window may be missed although nobody is slower than the script allows";

fn not_proven(examined: &Examined) -> Option<Verdict> {
    proved(examined).filter(|timing| !matches!(timing, Verdict::Proven(_)))
}

/// The reason for leading through a script whose timing is not proven; `None` where it is. Without a
/// reason nobody is led through, and is told why.
fn reason(args: &GuideArgs, examined: &Examined) -> Result<Option<String>, String> {
    let Some(timing) = not_proven(examined) else { return Ok(None) };
    let given = args.unproven.as_deref().map(str::trim).filter(|reason| !reason.is_empty());
    if let Some(reason) = given {
        return Ok(Some(reason.to_owned()));
    }
    Err(format!(
        "{}\nstepbell: not led through: a window may be missed although nobody is slower than the script \
         allows. Mend the script, or begin all the same with --unproven \"why\".\n",
        verdict(&timing, examined)
    ))
}

/// What can be heard in this run, and the timing with its lengths. Without a player nothing is rendered:
/// there is nobody to hear it.
///
/// # Errors
/// What is wrong with the recordings that were asked for.
pub(super) fn heard(
    args: &GuideArgs,
    around: &Surroundings,
    examined: &mut Examined,
    procedure: &Procedure,
    rehearsal: Option<&Rehearsal>,
) -> Result<Heard, String> {
    if !args.sound.is_wanted(around) {
        return Ok(Heard::default());
    }
    let page = args.page.page.is_some();
    let texts: Vec<_> = spoken(procedure).into_iter().map(|(_, text)| text).collect();
    // The frame of what a vehicle shows is English.
    let english = is_english(&args.sound.speaking.language);
    let more = match rehearsal.filter(|_| english) {
        Some(_) => all_aloud(procedure, &examined.plans, &examined.sources),
        None => Vec::new(),
    };
    let (more, own) = ([more, besides(procedure)].concat(), questions());
    let [more, own] = [&more, &own].map(|all| all.iter().map(String::as_str).collect::<Vec<_>>());
    let texts = Texts { texts: &texts, more: &more, own: &own };
    let banners = banners(procedure, rehearsal);
    let heard = Heard::of(&args.sound, around, &texts, &banners, page)?;
    if heard.is_any() {
        let mut speech = examined.speech.clone();
        if let Some(bank) = &heard.bank {
            bank.measure(procedure, &mut speech);
        }
        speech.lag = heard.lag;
        examined.measured(speech);
    }
    Ok(heard)
}

/// What has to be typed in words before a run that is not proven and has a point of no return.
fn in_words(examined: &Examined, procedure: &Procedure, reason: &str) -> Option<h::Question> {
    let plan = examined.plans.iter().find(|plan| !plan.no_returns.is_empty())?;
    let first = plan.no_returns.first()?;
    let context = Context { procedure, plan: Some(plan), sources: &examined.sources };
    Some(h::Question::Unproven {
        reason: reason.to_owned(),
        step: context.step(first.before),
        past: procedure.text(first.text).to_owned(),
    })
}

/// What a run is heard and seen by.
pub(super) struct Faces {
    /// What can be heard.
    pub heard: Heard,
    /// The terminal's face, and whether keys are read one by one.
    pub face: (Look, bool),
}

/// Leads a person through a sound script, at a vehicle or in a rehearsal.
///
/// # Errors
/// What the computer cannot do, and a way out.
pub(super) fn lead(
    args: &GuideArgs,
    around: &Surroundings,
    examined: &Examined,
    procedure: Procedure,
    faces: Faces,
    unproven: Option<&str>,
    rehearsal: Option<&Rehearsal>,
) -> Result<Outcome, String> {
    let Faces { heard, face: (look, terminal) } = faces;
    let speech = examined.speech.clone();
    let mut header = header(args, examined, &procedure, &speech);
    let settings = Settings {
        speech,
        timing: network,
        rehearsal: rehearsal.is_some(),
        length: worst_length(&procedure),
    };
    let setting = Setting {
        title: procedure.title.map_or("", |id| procedure.text(id)).to_owned(),
        banners: banners(&procedure, rehearsal),
        keys: KeyNames::default(),
    };
    let place = place(args, around)?;
    if let Some(rehearsal) = rehearsal {
        header.run = RunKind::Rehearsal;
        header.rehearsal = Some(rehearsal.terms());
    }
    // A rehearsal that was broken off is begun anew: nothing was done to any vehicle.
    let take_up = match &place {
        Some(place) if rehearsal.is_none() => earlier(place, around, &mut header)?,
        _ => None,
    };
    let record = place.map(|place| Plan { place, second: around.second.clone(), header });
    let page = page::open(&args.page, around, &setting, heard.shelf.clone())?;
    let kept = || kept_keys(around.config_home.as_deref(), around.home.as_deref());
    let KeptKeys { map: keys, trouble, .. } = match args.keys.clone() {
        Some(map) => KeptKeys { map, ..KeptKeys::default() },
        None => kept(),
    };
    let hands = rehearsal.is_some_and(Rehearsal::is_own_hands);
    let opening = Opening { terminal, look, setting, keys, hands, page };
    let mut console =
        Console::open(opening).map_err(|why| format!("the terminal cannot be used: {why}"))?;
    let Heard { speaker, missing, noted, .. } = heard;
    if let Some(speaker) = speaker {
        console.hear(Box::new(speaker));
    }
    let in_words = unproven.and_then(|why| in_words(examined, &procedure, why));
    let unproven = match rehearsal {
        Some(_) => not_proven(examined).map(|_| PRACTISED_UNPROVEN.to_owned()),
        None => unproven.map(|why| format!("begun unproven: {why}")),
    };
    let procedure = Arc::new(procedure);
    let live_run = Live {
        in_words,
        practice: rehearsal.map(|rehearsal| rehearsal.practice(&procedure, &settings.speech)),
        pace: rehearsal.map_or(Pace::TRUE, |rehearsal| rehearsal.pace),
        procedure,
        sources: &examined.sources,
        settings,
        record,
        take_up,
        notes: unproven.into_iter().chain(missing).chain(trouble).collect(),
        noted,
    };
    live(live_run, console).map_err(|why| {
        format!("{why}\nMend it, name another folder with --record, or go on with --no-record.")
    })
}

fn banners(procedure: &Procedure, rehearsal: Option<&Rehearsal>) -> Vec<Banner> {
    let mut banners = rehearsal.map_or_else(Vec::new, Rehearsal::banners);
    if procedure.status == Some(Status::Demonstration) {
        banners.push(Banner::Demonstration);
    }
    banners
}

fn status(procedure: &Procedure) -> String {
    match &procedure.status {
        Some(Status::Demonstration) => "demonstration".to_owned(),
        Some(Status::Handbook) => "from a handbook".to_owned(),
        Some(Status::Tried(date)) => format!("tried on {}", date.value),
        None => "not said".to_owned(),
    }
}

fn header(
    args: &GuideArgs,
    examined: &Examined,
    procedure: &Procedure,
    speech: &SpeechLengths,
) -> Header {
    let files = examined.sources.files().map(|(_, f)| ScriptFile::new(f.name(), f.text()));
    Header {
        format: entry::FORMAT.to_owned(),
        version: entry::VERSION,
        tool: env!("CARGO_PKG_VERSION").to_owned(),
        run: RunKind::Live,
        started: String::new(),
        title: procedure.title.map_or("", |id| procedure.text(id)).to_owned(),
        status: status(procedure),
        files: files.collect(),
        profile: procedure.operator.name.clone(),
        lengths: source_name(speech),
        spoken: kept(speech),
        lag: speech.lag.0,
        operator: args.operator_label.clone(),
        counts: std::collections::BTreeMap::new(),
        continues: None,
        rehearsal: None,
    }
}

/// Where the record goes; `None` where nobody wants one.
fn place(args: &GuideArgs, around: &Surroundings) -> Result<Option<Place>, String> {
    if args.no_record {
        return Ok(None);
    }
    if let Some(folder) = &args.record {
        return Ok(Some(Place::Folder(folder.clone())));
    }
    let folder = default_folder(around.state_home.as_deref(), around.home.as_deref());
    folder.map(|folder| Some(Place::Default(folder))).ok_or_else(|| {
        "no folder for the record is known. Name one with --record, or go on with --no-record."
            .to_owned()
    })
}

/// An earlier run of this script that was broken off, as a question; the new record names it.
fn earlier(
    place: &Place,
    around: &Surroundings,
    header: &mut Header,
) -> Result<Option<TakeUp>, String> {
    let (Place::Default(folder) | Place::Folder(folder)) = place else { return Ok(None) };
    let mut folders = vec![folder.as_path()];
    folders.extend(around.second.as_deref());
    let wanted =
        Wanted { script_sha256: header.script_sha256(), title: &header.title, run: RunKind::Live };
    let Found { unfinished, running } = find_unfinished(&folders, &wanted);
    if let Some(path) = running.first() {
        return Err(format!(
            "a run of this script is being recorded in {} right now. End that one first.",
            path.display()
        ));
    }
    let Some(old) = unfinished.filter(|old| old.newer_finished == 0) else { return Ok(None) };
    let file = file_name(&old.path);
    // Records name each other without the ending of their files.
    header.continues = Some(file.strip_suffix(ENDING).unwrap_or(&file).to_owned());
    Ok(Some(TakeUp { question: last_certain(&old, file), path: old.path }))
}

fn file_name(path: &Path) -> String {
    path.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default()
}

/// The last certain state of a record.
fn last_certain(old: &Unfinished, record: String) -> h::Question {
    let (mut step, mut act, mut text, mut past) = (None, None, None, None);
    for entry in old.read.certain_entries() {
        let crate::journal::read::Kept::Known(Body::Effect { what }) = &entry.body else {
            continue;
        };
        match effect_of(what) {
            Some(h::Effect::Fact { fact: h::Fact::Entered { step: at, break_off, .. } }) => {
                (step, text) = (Some(at), break_off);
            }
            Some(h::Effect::Fact { fact: h::Fact::NoReturn { text } }) => past = Some(text),
            Some(h::Effect::Show(shown)) if shown.act.is_some() => act = shown.act,
            _ => {}
        }
    }
    let act = act.filter(|_| step.is_some());
    h::Question::TakeUp { record, step, act, text, past }
}

/// How the command ends.
pub(super) fn ended(outcome: &Outcome) -> Exit {
    let unrecorded = match &outcome.record {
        Some(Finish::Done(done)) => !done.is_whole(),
        Some(Finish::StillWriting | Finish::Died) => true,
        None => false,
    };
    let judged = outcome.score.as_ref().filter(|score| !score.rows.is_empty());
    let rehearsed = judged.map(Score::met_well);
    match outcome.how {
        How::HungUp => Exit::HungUp,
        How::Interrupted => Exit::Interrupted,
        How::Terminated => Exit::Terminated,
        How::Ended(_) | How::Declined | How::InputEnded if unrecorded => Exit::NotRecorded,
        How::Declined => Exit::Done,
        // In a rehearsal the person is judged, not the imaginary vehicle.
        How::Ended(class) if class != entry::EndingClass::Stopped && rehearsed.is_some() => {
            if rehearsed == Some(true) {
                Exit::Done
            } else {
                Exit::Findings
            }
        }
        How::Ended(entry::EndingClass::Learned) => Exit::Done,
        How::Ended(_) | How::InputEnded => Exit::Findings,
    }
}

/// The folder for records that cannot go where they should: beside other temporary files, of the
/// user's own.
#[must_use]
pub fn second_folder(temporary: &Path) -> PathBuf {
    temporary.join("stepbell-records")
}
