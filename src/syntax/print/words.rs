//! One sentence of the tree in its canonical words.
//!
//! Takes a sentence; gives its line without the blanks before it. Written in the grammar's order.

use crate::syntax::blocks;
use crate::syntax::tree::{
    Accord, Answer, At, Bound, Condition, ConditionTest, Count, Decimal, EndingClass, EventOf, Far,
    GoBack, HandCount, Held, HowMany, ItemClass, Length, Name, Outcome, Pattern, Role, Sense,
    Sentence, Sight, SightOf, SignalWord, Status, SubjectKind, Text, Tries, Turns, Unit, Value,
    ValueMore, When,
};

pub(super) fn sentence(sentence: &Sentence) -> String {
    head(sentence)
        .or_else(|| stock(sentence))
        .or_else(|| stretch_or_block(sentence))
        .or_else(|| flow(sentence))
        .or_else(|| doing(sentence))
        .or_else(|| window_or_outcome(sentence))
        .unwrap_or_default()
}

fn head(sentence: &Sentence) -> Option<String> {
    Some(match sentence {
        Sentence::Blank => String::new(),
        Sentence::Remark(text) if text.is_empty() => "note".to_owned(),
        Sentence::Remark(text) => format!("note {text}"),
        Sentence::Stray(text) => text.clone(),
        Sentence::Procedure(text) => format!("procedure {}", quoted(text)),
        Sentence::Subject(SubjectKind::Vehicle, text) => format!("vehicle {}", quoted(text)),
        Sentence::Subject(SubjectKind::Device, text) => format!("device {}", quoted(text)),
        Sentence::Edition(number) => format!("edition {}", number.value),
        Sentence::Status(Status::Demonstration) => "status demonstration".to_owned(),
        Sentence::Status(Status::Handbook) => "status from a handbook".to_owned(),
        Sentence::Status(Status::Tried(date)) => format!("status tried on {}", date.value),
        Sentence::Basis(accord) => accord_words(accord),
        Sentence::Use(text) => format!("use {}", quoted(text)),
        Sentence::Alert(word, hazard, text) => {
            let word = match word {
                SignalWord::Danger => "danger",
                SignalWord::Warning => "warning",
                SignalWord::Caution => "caution",
                SignalWord::Notice => "notice",
            };
            let hazard = hazard.as_ref().map(|name| format!("{}, ", name.value));
            format!("{word} {}{}", hazard.unwrap_or_default(), quoted(text))
        }
        Sentence::AffirmOwnership => "affirm ownership".to_owned(),
        Sentence::Affirm(text) => format!("affirm {}", quoted(text)),
        Sentence::Ending { name, class, text, hand_over } => {
            let class = match class {
                EndingClass::Learned => "learned",
                EndingClass::NotLearned => "not learned",
                EndingClass::Unsure => "unsure",
                EndingClass::Stopped => "stopped",
            };
            let over = maybe(hand_over.as_ref(), |to| format!(", hand over to {}", quoted(to)));
            format!("ending {}, {class}, {}{over}", name.value, quoted(text))
        }
        _ => return None,
    })
}

fn stock(sentence: &Sentence) -> Option<String> {
    Some(match sentence {
        Sentence::Have { group, name, role, kind, label, felt } => {
            let group = maybe(group.as_ref(), |(lo, hi)| format!("{} to {} ", lo.value, hi.value));
            let role = match role {
                Role::Registered => "registered",
                Role::New => "new",
                Role::Tool => "tool",
            };
            let kind = maybe(kind.as_ref(), |kind| format!(" {}", kind.value));
            let felt = maybe(felt.as_ref(), |felt| format!(", felt as {}", quoted(felt)));
            format!("have {group}{}, {role}{kind}, {}{felt}", name.value, quoted(label))
        }
        Sentence::Place { name, far, text } => {
            format!("place {}{}, {}", name.value, maybe(far.as_ref(), far_words), quoted(text))
        }
        Sentence::Round(name, places) => {
            let places = places.iter().map(|place| format!(", {}", place.value));
            format!("round {}{}", name.value, places.collect::<String>())
        }
        Sentence::Sign { name, sense, object, pattern, lasting, quiet } => {
            let pattern = maybe(pattern.as_ref(), |pattern| match pattern {
                Pattern::Times(count) => format!(" {}", times(count.value)),
                Pattern::State(state) => format!(" {}", state.value),
            });
            let lasting = maybe(lasting.as_ref(), lasting_words);
            let quiet = maybe(quiet.as_ref(), |quiet| format!(", quiet {}", quiet.value));
            let (sense, object) = (sense_word(sense.value), quoted(object));
            format!("sign {}, {sense} {object}{pattern}{lasting}{quiet}", name.value)
        }
        Sentence::Secret(name, text) => format!("secret {}, {}", name.value, quoted(text)),
        Sentence::Ask { value, answer, text } => {
            format!("ask {} {}, {}", value_words(value), answer_words(answer), quoted(text))
        }
        Sentence::StartWith(text) => format!("start with {}", quoted(text)),
        Sentence::StartOnlyIf(condition, text) => {
            format!("start only if {}, else {}", condition_words(condition), quoted(text))
        }
        Sentence::BetterIf(condition, text) => {
            format!("better if {}, else {}", condition_words(condition), quoted(text))
        }
        Sentence::Battery { floor, ceiling } => {
            let ceiling = maybe(ceiling.as_ref(), |most| format!(", at most {}", volts(most)));
            format!("battery at least {}{ceiling}", volts(floor))
        }
        _ => return None,
    })
}

fn stretch_or_block(sentence: &Sentence) -> Option<String> {
    let named = |word: &str, name: &Name, label: &Option<Text>| {
        format!(
            "{word} {}{}",
            name.value,
            maybe(label.as_ref(), |text| format!(" {}", quoted(text)))
        )
    };
    Some(match sentence {
        Sentence::KeepAway(name, text) => format!("keep away {}, {}", name.value, quoted(text)),
        Sentence::KeepAwake(every, text) => {
            format!("keep awake every {}, {}", every.value, quoted(text))
        }
        Sentence::Keep { name, text, watched, lost } => {
            let watched = match &watched[..] {
                [] => String::new(),
                places => format!(", watched from {}", all_of(places)),
            };
            let lost = outcome(lost);
            format!("keep {}, {}{watched}, if lost {lost}", name.value, quoted(text))
        }
        Sentence::Never(text, done) => {
            format!("never {}, if done {}", quoted(text), outcome(done))
        }
        Sentence::Allow(name, count, text) => {
            format!("allow {} {}, {}", name.value, times(count.value), quoted(text))
        }
        Sentence::BreakOff(text) => format!("if broken off, {}", quoted(text)),
        Sentence::Operator(name, label) => named("operator", name, label),
        Sentence::Helper(name, label) => named("helper", name, label),
        Sentence::Part(name, stand_ins) => format!("part {}{}", name.value, of_all(stand_ins)),
        Sentence::Phase(name) => format!("phase {}", name.value),
        Sentence::Each(one, all) => format!("for each {} of {}", one.value, all.value),
        Sentence::Repeat(count) => format!("repeat {}", times(count.value)),
        Sentence::OnlyIf(condition) => format!("only if {}", condition_words(condition)),
        Sentence::Table(name) => format!("table {}", name.value),
        Sentence::Tests => "tests".to_owned(),
        Sentence::End(kind) => format!("end {}", blocks::word(kind.value)),
        _ => return None,
    })
}

fn flow(sentence: &Sentence) -> Option<String> {
    Some(match sentence {
        Sentence::Step(name, text) => format!("step {} {}", name.value, quoted(text)),
        Sentence::Do(part, given, alias) => {
            let alias = maybe(alias.as_ref(), |alias| format!(" as {}", alias.value));
            format!("do {}{}{alias}", part.value, of_all(given))
        }
        Sentence::Finish(name) => format!("finish as {}", name.value),
        Sentence::NoAnswer => "no answer".to_owned(),
        Sentence::NoReport => "no report".to_owned(),
        Sentence::NoWayBack(text, safe) => {
            let safe = if *safe { ", safe to start over" } else { "" };
            format!("no way back {}{safe}", quoted(text))
        }
        Sentence::Test { item, text, expect, otherwise } => {
            let item = maybe(item.as_ref(), |item| format!("{}, ", item.value));
            let (text, expect) = (quoted(text), quoted(expect));
            format!("test {item}{text}, expect {expect}, else finish as {}", otherwise.value)
        }
        Sentence::Recount { reading, more, per, otherwise } => {
            let per = maybe(per.as_ref(), |group| format!(" for each of {}", group.value));
            let (reading, more) = (&reading.value, more.value);
            format!("recount {reading}, {more} more{per}, else finish as {}", otherwise.value)
        }
        _ => return None,
    })
}

fn doing(sentence: &Sentence) -> Option<String> {
    Some(match sentence {
        Sentence::OnlyWatch => "only watch".to_owned(),
        Sentence::Prepare(text) => format!("prepare {}", quoted(text)),
        Sentence::Say(text, lasting) => {
            format!("say {}{}", quoted(text), maybe(lasting.as_ref(), lasting_words))
        }
        Sentence::Takes(length, accord) => format!("takes {}{}", long(length), tail(accord)),
        Sentence::StraightOn => "straight on".to_owned(),
        Sentence::With(items, place) => {
            let place = maybe(place.as_ref(), |place| format!(" at {}", place.value));
            format!("with {}{place}", all_of(items))
        }
        Sentence::AtPlace(name) => format!("at {}", name.value),
        Sentence::By(name) => format!("by {}", name.value),
        Sentence::Take(name) => format!("take {}", name.value),
        Sentence::PutDown(name) => format!("put down {}", name.value),
        Sentence::Needs(HandCount::Both) => "needs both hands".to_owned(),
        Sentence::Needs(HandCount::One) => "needs one hand".to_owned(),
        Sentence::Needs(HandCount::None) => "needs no hand".to_owned(),
        Sentence::Hold(held, accord) => format!("hold {}{}", held_words(held), tail(accord)),
        Sentence::LetGoOf(name) => format!("let go of {}", name.value),
        Sentence::LetGo(when, turns, accord) => {
            format!("let go {}{}{}", when_words(when), turn_words(turns), tail(accord))
        }
        Sentence::Count(count, accord) => format!("count {}{}", count_words(count), tail(accord)),
        Sentence::OneWay(text, takes) => {
            let takes = maybe(takes.as_ref(), |takes| format!(", takes {}", long(takes)));
            format!("one way {}{takes}", quoted(text))
        }
        Sentence::Reacts(length) => format!("reacts in {}", long(length)),
        Sentence::Reports(length) => format!("reports in {}", long(length)),
        Sentence::Speech(words) => format!("speech {} words a minute", words.value),
        Sentence::Walks(length) => format!("walks a pace in {}", long(length)),
        Sentence::Has(hands) => format!("has {} hands", hands.value),
        _ => return None,
    })
}

fn window_or_outcome(sentence: &Sentence) -> Option<String> {
    let window = |word: &str, when: &When, turns: &Option<At<Turns>>, accord: &Option<Accord>| {
        format!("{word}{}{}{}", when_words(when), turn_words(turns), tail(accord))
    };
    Some(match sentence {
        Sentence::Window(when, turns, accord) => window("", when, turns, accord),
        Sentence::Begin(when, turns, accord) => window("begin ", when, turns, accord),
        Sentence::OrWindow(when, turns, accord) => window("or ", when, turns, accord),
        Sentence::OrTakes(length, accord) => format!("or takes {}{}", long(length), tail(accord)),
        Sentence::OrHold(held, accord) => format!("or hold {}{}", held_words(held), tail(accord)),
        Sentence::Sensed { sights, when, turns, accord, so } => {
            let sights: Vec<String> = sights.iter().map(sight_words).collect();
            let when = arrival(when.as_ref());
            let (turns, accord, so) = (turn_words(turns), tail(accord), outcome(so));
            format!("{}{when}{turns}{accord}, so {so}", sights.join(" and "))
        }
        Sentence::LookUp(table, when, turns, accord) => {
            let when = arrival(when.as_ref());
            format!("look up {}{when}{}{}", table.value, turn_words(turns), tail(accord))
        }
        Sentence::Nothing { when, turns, accord, so } => {
            format!("{}, so {}", window("nothing ", when, turns, accord), outcome(so))
        }
        Sentence::AnythingElse(so) => format!("anything else, so {}", outcome(so)),
        Sentence::Late(so) => format!("late, so {}", outcome(so)),
        Sentence::Slip(so) => format!("slip, so {}", outcome(so)),
        _ => return None,
    })
}

/// What is there, in words; nothing otherwise.
fn maybe<T>(value: Option<T>, words: impl FnOnce(T) -> String) -> String {
    value.map(words).unwrap_or_default()
}

fn quoted(text: &Text) -> String {
    format!("\"{}\"", text.value)
}

fn all_of(names: &[Name]) -> String {
    let names: Vec<&str> = names.iter().map(|name| name.value.as_str()).collect();
    names.join(" and ")
}

fn of_all(names: &[Name]) -> String {
    if names.is_empty() { String::new() } else { format!(" of {}", all_of(names)) }
}

fn far_words(far: &Far) -> String {
    let extra = maybe(far.extra.as_ref(), |extra| format!(" and {}", long(extra)));
    format!(", {} paces{extra} from {}", far.paces.value, far.from.value)
}

fn lasting_words(length: &At<Length>) -> String {
    format!(", lasting {}", long(length))
}

fn times(count: u32) -> String {
    match count {
        1 => "once".to_owned(),
        2 => "twice".to_owned(),
        count => format!("{count} times"),
    }
}

fn sense_word(sense: Sense) -> &'static str {
    match sense {
        Sense::See => "see",
        Sense::Hear => "hear",
        Sense::Feel => "feel",
        Sense::Read => "read",
    }
}

fn value_words(value: &Value) -> String {
    match &value.more {
        ValueMore::Alone => value.name.value.clone(),
        ValueMore::Of(item) => format!("{} of {}", value.name.value, item.value),
        ValueMore::With(group) => format!("{} with {}", value.name.value, group.value),
    }
}

fn answer_words(answer: &Answer) -> String {
    match answer {
        Answer::Text => "as text".to_owned(),
        Answer::Number(unit, plausible) => {
            let plausible = maybe(plausible.as_ref(), |(lo, hi)| {
                format!(", between {} and {}", decimal(lo.value), decimal(hi.value))
            });
            format!("in {}{plausible}", unit_word(&unit.value))
        }
        Answer::Choice(answers) => {
            let answers: Vec<&str> = answers.iter().map(|name| name.value.as_str()).collect();
            format!("as {}", answers.join(" or "))
        }
    }
}

fn volts((number, unit): &(Decimal, At<Unit>)) -> String {
    format!("{} {}", decimal(number.value), unit_word(&unit.value))
}

/// Thousandths as a decimal number without needless zeros.
fn decimal(thousandths: i64) -> String {
    let sign = if thousandths < 0 { "-" } else { "" };
    let (whole, rest) = (thousandths.unsigned_abs() / 1000, thousandths.unsigned_abs() % 1000);
    if rest == 0 {
        return format!("{sign}{whole}");
    }
    format!("{sign}{whole}.{}", format!("{rest:03}").trim_end_matches('0'))
}

fn unit_word(unit: &Unit) -> &str {
    match unit {
        Unit::Volt => "V",
        Unit::Ampere => "A",
        Unit::AmpereHour => "Ah",
        Unit::Megahertz => "MHz",
        Unit::Kilohertz => "kHz",
        Unit::Celsius => "°C",
        Unit::Kilopascal => "kPa",
        Unit::KilometreHour => "km/h",
        Unit::Percent => "%",
        Unit::Count(name) => name,
    }
}

fn condition_words(condition: &Condition) -> String {
    let value = value_words(&condition.value);
    let test = match &condition.test {
        ConditionTest::AtLeast(bound, unit) => {
            format!("at least {} {}", decimal(bound.value), unit_word(&unit.value))
        }
        ConditionTest::AtMost(bound, unit) => {
            format!("at most {} {}", decimal(bound.value), unit_word(&unit.value))
        }
        ConditionTest::Between(lo, hi, unit) => {
            let unit = unit_word(&unit.value);
            format!("between {} and {} {unit}", decimal(lo.value), decimal(hi.value))
        }
        ConditionTest::SameAs(other) => format!("the same as {}", value_words(other)),
        ConditionTest::Is(answer) => answer.value.clone(),
    };
    format!("{value} is {test}")
}

fn long(length: &At<Length>) -> String {
    match &length.value {
        Length::Exactly(exact) => exact.value.to_string(),
        Length::FromTo(lo, hi) => format!("{} to {}", lo.value, hi.value),
        Length::UpTo(most) => format!("up to {}", most.value),
        Length::AtLeast(least) => format!("at least {}", least.value),
        Length::Around { middle, leeway, about } => {
            let about = if *about { "about " } else { "" };
            let leeway = maybe(leeway.as_ref(), |leeway| format!(" give or take {}", leeway.value));
            format!("{about}{}{leeway}", middle.value)
        }
    }
}

fn arrival(when: Option<&When>) -> String {
    maybe(when, |when| format!(", {}", when_words(when)))
}

fn when_words(when: &When) -> String {
    let bound = match &when.bound.value {
        Bound::Within(most) => format!("within {}", most.value),
        Bound::Between(lo, hi) => format!("between {} and {}", lo.value, hi.value),
        Bound::NotBefore(least) => format!("not before {}", least.value),
        Bound::About(middle, leeway) => {
            let leeway = maybe(leeway.as_ref(), |leeway| format!(" give or take {}", leeway.value));
            format!("about {}{leeway}", middle.value)
        }
    };
    let after = maybe(when.after.as_ref(), |event| format!(" after {}", event_words(event)));
    format!("{bound}{after}")
}

fn event_words(event: &EventOf) -> String {
    let mut words = Vec::new();
    if event.previous {
        words.push("previous");
    }
    words.extend(event.path.iter().map(|name| name.value.as_str()));
    words.push(event.event.value.word());
    words.join(" ")
}

fn turn_words(turns: &Option<At<Turns>>) -> &'static str {
    match turns.as_ref().map(|turns| turns.value) {
        None => "",
        Some(Turns::FirstTurn) => ", first turn only",
        Some(Turns::LaterTurns) => ", later turns only",
        Some(Turns::EarlierTurns) => ", earlier turns only",
        Some(Turns::LastTurn) => ", last turn only",
        Some(Turns::FirstTry) => ", first try only",
    }
}

fn accord_words(accord: &Accord) -> String {
    match accord {
        Accord::CommonPractice => "according to common practice".to_owned(),
        Accord::Source(text) => format!("according to {}", quoted(text)),
        Accord::Assumed(text) => format!("assumed {}", quoted(text)),
    }
}

fn tail(accord: &Option<Accord>) -> String {
    maybe(accord.as_ref(), |accord| format!(", {}", accord_words(accord)))
}

fn held_words(held: &At<Held>) -> String {
    match &held.value {
        Held::On => "on".to_owned(),
        Held::For(length) => long(length),
        Held::Until(event, more) => {
            let more = maybe(more.as_ref(), |more| format!(", then {} more", long(more)));
            format!("until {}{more}", event_words(event))
        }
    }
}

fn count_words(count: &Count) -> String {
    let mut words = match &count.how_many {
        HowMany::Exactly(number) => number.value.to_string(),
        HowMany::Reading(name) => name.value.clone(),
        HowMany::Until(event) => format!("until {}", event_words(event)),
    };
    if let Some((length, stroke)) = &count.lasting {
        words += &lasting_words(length);
        words += if *stroke { " each" } else { "" };
    }
    words += &maybe(count.within.as_ref(), |most| format!(", within {}", most.value));
    words += &maybe(count.each_within.as_ref(), |most| format!(", each within {}", most.value));
    words += &maybe(count.every.as_ref(), |every| format!(", one every {}", long(every)));
    words += &maybe(count.ending.as_ref(), |state| format!(", ending {}", quoted(state)));
    words
}

fn sight_words(sight: &Sight) -> String {
    let what = match &sight.what {
        SightOf::Sign(name) => name.value.clone(),
        SightOf::Text(text) => quoted(text),
    };
    format!("{} {what}", sense_word(sight.sense.value))
}

fn outcome(outcome: &Outcome) -> String {
    match outcome {
        Outcome::GoOn => "go on".to_owned(),
        Outcome::GoTo(name) => format!("go to {}", name.value),
        Outcome::Finish(name) => format!("finish as {}", name.value),
        Outcome::ThisOne(class) => {
            let class = match class.value {
                ItemClass::Learned => "learned",
                ItemClass::NotLearned => "not learned",
                ItemClass::Unsure => "unsure",
            };
            format!("this one is {class}")
        }
        Outcome::GoBack(back) => go_back(back),
    }
}

fn go_back(back: &GoBack) -> String {
    let way = maybe(back.way.as_ref(), |part| format!(" by way of {}", part.value));
    let after = maybe(back.after.as_ref(), |after| format!(" after {}", after.value));
    let tries = match &back.tries {
        Tries::AtMost(count) => format!("at most {}", times(count.value)),
        Tries::While(purse) => format!("while {} lasts", purse.value),
    };
    let otherwise = outcome(&back.otherwise);
    format!("go back to {}{way}{after}, {tries}, else {otherwise}", back.to.value)
}
