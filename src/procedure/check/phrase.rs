//! Which sentence it is, in words, and where it is at home.
//!
//! Takes a [`Sentence`]; gives the phrase that complaints call it by, and its [`Home`].

use crate::syntax::tree::{BlockKind, Sense, Sentence, SignalWord, SubjectKind};

/// Where a sentence may stand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Home {
    /// In the file's head.
    Head,
    /// In the head of the file or of a block.
    Stretch,
    /// In a head or in a step.
    Guard,
    /// In the file's head or in a step.
    Ask,
    /// In a step, or in a block's head as a limit.
    Window,
    /// In a step.
    Step,
    /// In a step or a table.
    Row,
    /// In a person's block.
    Profile,
    /// In the tests.
    Tests,
    /// In a head, in a step, or between.
    Anywhere,
    /// Between steps.
    Flow,
    /// In the head, or above a step.
    Alert,
    /// Opens a block.
    Block(BlockKind),
}

/// Where this sentence is at home. Blank lines, remarks, strays, steps and `end` are handled apart.
pub(super) fn home(sentence: &Sentence) -> Home {
    use Sentence as S;
    match sentence {
        S::Blank | S::Remark(_) | S::Stray(_) | S::Basis(_) | S::End(_) => Home::Anywhere,
        S::Procedure(_)
        | S::Subject(..)
        | S::Edition(_)
        | S::Status(_)
        | S::Use(_)
        | S::AffirmOwnership
        | S::Affirm(_)
        | S::Ending { .. }
        | S::Have { .. }
        | S::Place { .. }
        | S::Round(..)
        | S::Sign { .. }
        | S::Secret(..)
        | S::StartWith(_)
        | S::StartOnlyIf(..)
        | S::BetterIf(..)
        | S::Battery { .. } => Home::Head,
        S::Ask { .. } => Home::Ask,
        S::Alert(..) => Home::Alert,
        S::KeepAwake(..) | S::Allow(..) => Home::Stretch,
        S::KeepAway(..)
        | S::Keep { .. }
        | S::Never(..)
        | S::AnythingElse(_)
        | S::Late(_)
        | S::Slip(_)
        | S::BreakOff(_) => Home::Guard,
        S::Operator(..) => Home::Block(BlockKind::Operator),
        S::Helper(..) => Home::Block(BlockKind::Helper),
        S::Part(..) => Home::Block(BlockKind::Part),
        S::Phase(_) => Home::Block(BlockKind::Phase),
        S::Each(..) => Home::Block(BlockKind::Each),
        S::Repeat(_) => Home::Block(BlockKind::Repeat),
        S::OnlyIf(_) => Home::Block(BlockKind::Only),
        S::Table(_) => Home::Block(BlockKind::Table),
        S::Tests => Home::Block(BlockKind::Tests),
        S::Step(..) | S::Do(..) | S::Finish(_) | S::NoWayBack(..) => Home::Flow,
        S::Test { .. } | S::Recount { .. } => Home::Tests,
        S::Reacts(_) | S::Reports(_) | S::Speech(_) | S::Walks(_) | S::Has(_) => Home::Profile,
        S::Window(..) | S::OrWindow(..) => Home::Window,
        S::Sensed { .. } => Home::Row,
        S::OnlyWatch
        | S::NoAnswer
        | S::NoReport
        | S::Prepare(_)
        | S::Say(..)
        | S::Takes(..)
        | S::StraightOn
        | S::With(..)
        | S::AtPlace(_)
        | S::By(_)
        | S::Take(_)
        | S::PutDown(_)
        | S::Needs(_)
        | S::Hold(..)
        | S::LetGoOf(_)
        | S::LetGo(..)
        | S::Count(..)
        | S::OneWay(..)
        | S::Begin(..)
        | S::OrTakes(..)
        | S::OrHold(..)
        | S::LookUp(..)
        | S::Nothing { .. } => Home::Step,
    }
}

/// What a complaint calls this sentence: its first words.
pub(super) fn phrase(sentence: &Sentence) -> &'static str {
    use Sentence as S;
    match sentence {
        S::Blank => "an empty line",
        S::Remark(_) => "note",
        S::Stray(_) => "this line",
        S::Procedure(_) => "procedure",
        S::Subject(SubjectKind::Vehicle, _) => "vehicle",
        S::Subject(SubjectKind::Device, _) => "device",
        S::Edition(_) => "edition",
        S::Status(_) => "status",
        S::Basis(_) => "according to",
        S::Use(_) => "use",
        S::Alert(word, ..) => signal(*word),
        S::AffirmOwnership => "affirm ownership",
        S::Affirm(_) => "affirm",
        S::Ending { .. } => "ending",
        S::Have { .. } => "have",
        S::Place { .. } => "place",
        S::Round(..) => "round",
        S::Sign { .. } => "sign",
        S::Secret(..) => "secret",
        S::Ask { .. } => "ask",
        S::StartWith(_) => "start with",
        S::StartOnlyIf(..) => "start only if",
        S::BetterIf(..) => "better if",
        S::Battery { .. } => "battery",
        S::KeepAway(..) => "keep away",
        S::KeepAwake(..) => "keep awake",
        S::Keep { .. } => "keep",
        S::Never(..) => "never",
        S::Allow(..) => "allow",
        S::BreakOff(_) => "if broken off",
        S::Operator(..) => "operator",
        S::Helper(..) => "helper",
        S::Part(..) => "part",
        S::Phase(_) => "phase",
        S::Each(..) => "for each",
        S::Repeat(_) => "repeat",
        S::OnlyIf(_) => "only if",
        S::Table(_) => "table",
        S::Tests => "tests",
        S::End(_) => "end",
        S::Step(..) => "step",
        S::Do(..) => "do",
        S::Finish(_) => "finish as",
        S::NoWayBack(..) => "no way back",
        S::Test { .. } => "test",
        S::Recount { .. } => "recount",
        _ => step_phrase(sentence),
    }
}

fn step_phrase(sentence: &Sentence) -> &'static str {
    use Sentence as S;
    match sentence {
        S::OnlyWatch => "only watch",
        S::NoAnswer => "no answer",
        S::NoReport => "no report",
        S::Prepare(_) => "prepare",
        S::Say(..) => "say",
        S::Takes(..) => "takes",
        S::StraightOn => "straight on",
        S::With(..) => "with",
        S::AtPlace(_) => "at",
        S::By(_) => "by",
        S::Take(_) => "take",
        S::PutDown(_) => "put down",
        S::Needs(_) => "needs",
        S::Hold(..) => "hold",
        S::LetGoOf(_) => "let go of",
        S::LetGo(..) => "let go",
        S::Count(..) => "count",
        S::OneWay(..) => "one way",
        S::Reacts(_) => "reacts in",
        S::Reports(_) => "reports in",
        S::Speech(_) => "speech",
        S::Walks(_) => "walks a pace in",
        S::Has(_) => "has",
        S::Window(..) => "within",
        S::Begin(..) => "begin",
        S::OrWindow(..) | S::OrTakes(..) | S::OrHold(..) => "or",
        S::Sensed { sights, .. } => sights.first().map_or("see", |sight| verb(sight.sense.value)),
        S::LookUp(..) => "look up",
        S::Nothing { .. } => "nothing",
        S::AnythingElse(_) => "anything else",
        S::Late(_) => "late",
        S::Slip(_) => "slip",
        _ => "this line",
    }
}

/// The verb of a sense.
pub(super) const fn verb(sense: Sense) -> &'static str {
    match sense {
        Sense::See => "see",
        Sense::Hear => "hear",
        Sense::Feel => "feel",
        Sense::Read => "read",
    }
}

/// A signal word as written.
pub(super) const fn signal(word: SignalWord) -> &'static str {
    match word {
        SignalWord::Danger => "danger",
        SignalWord::Warning => "warning",
        SignalWord::Caution => "caution",
        SignalWord::Notice => "notice",
    }
}
