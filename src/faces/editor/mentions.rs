//! Every name that a sentence says: takes a [`Sentence`], gives each name with whether it is declared
//! there or what it may mean. Nothing is resolved here; `names` does that.
//!
//! The match is exhaustive: a new sentence does not compile until its names are told.

use crate::syntax::tree::{
    Answer, Condition, ConditionTest, Count, EventOf, GoBack, Held, HowMany, Name, Outcome,
    Sentence, SightOf, Tries, Value, ValueMore, When,
};

/// What a name is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Kind {
    /// A thing, or a group of like things.
    Item,
    /// A place.
    Place,
    /// A round of places.
    Round,
    /// A sign.
    Sign,
    /// A second person.
    Helper,
    /// The person guided.
    Operator,
    /// A reading.
    Reading,
    /// An answer to choose.
    Answer,
    /// A secret.
    Secret,
    /// Something that must stay true.
    Guard,
    /// An ending.
    Ending,
    /// A purse of tries.
    Purse,
    /// A part.
    Part,
    /// A table.
    Table,
    /// A step.
    Step,
    /// A phase.
    Phase,
    /// The name of a part done.
    Alias,
    /// The thing or place of a turn.
    Turn,
    /// What something else stands in for, in a part.
    StandIn,
}

/// What a name that is used may mean.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Wants {
    /// An item, a turn or a stand-in.
    Item,
    /// A place, a turn or a stand-in.
    Place,
    /// A group of items, or a round.
    Group,
    /// A sign or a stand-in.
    Sign,
    /// Any of them.
    Thing,
    /// A helper.
    Helper,
    /// A reading.
    Reading,
    /// An answer of a reading.
    Answer,
    /// An ending.
    Ending,
    /// A purse.
    Purse,
    /// A part.
    Part,
    /// A table.
    Table,
    /// A step to go to.
    Step,
    /// A step, phase or turn whose moment is meant.
    Moment,
}

/// A name as a sentence says it.
#[derive(Clone, Debug)]
pub struct Mention<'t> {
    /// The name.
    pub name: &'t Name,
    /// What it is, or may mean.
    pub says: Says,
    /// What narrows it: the item of a reading, the reading of an answer, the aliases before a step.
    pub of: Vec<&'t str>,
}

/// Whether a name is declared or used.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Says {
    /// It is declared here.
    Is(Kind),
    /// It is used here.
    Means(Wants),
}

/// Every name of a sentence, in no particular order.
#[must_use]
pub fn mentions(sentence: &Sentence) -> Vec<Mention<'_>> {
    let mut found = Found(Vec::new());
    found.sentence(sentence);
    found.0
}

struct Found<'t>(Vec<Mention<'t>>);

impl<'t> Found<'t> {
    fn is(&mut self, name: &'t Name, kind: Kind) {
        self.0.push(Mention { name, says: Says::Is(kind), of: Vec::new() });
    }

    fn means(&mut self, name: &'t Name, wants: Wants) {
        self.0.push(Mention { name, says: Says::Means(wants), of: Vec::new() });
    }

    fn each(&mut self, names: impl IntoIterator<Item = &'t Name>, wants: Wants) {
        for name in names {
            self.means(name, wants);
        }
    }

    fn sentence(&mut self, sentence: &'t Sentence) {
        use Sentence as S;
        match sentence {
            S::Blank | S::Remark(_) | S::Stray(_) | S::Procedure(_) | S::Subject(..) => {}
            S::Edition(_) | S::Status(_) | S::Basis(_) | S::Use(_) | S::Alert(..) => {}
            S::Battery { .. }
            | S::AffirmOwnership
            | S::Affirm(_)
            | S::StartWith(_)
            | S::KeepAwake(..) => {}
            S::BreakOff(_) | S::Repeat(_) | S::Tests | S::End(_) | S::NoWayBack(..) => {}
            S::OnlyWatch | S::NoAnswer | S::NoReport | S::Prepare(_) | S::Say(..) => {}
            S::Takes(..) | S::StraightOn | S::Needs(_) | S::OneWay(..) | S::Reacts(_) => {}
            S::Reports(_) | S::Speech(_) | S::Walks(_) | S::Has(_) | S::OrTakes(..) => {}
            S::Ending { name, .. } => self.is(name, Kind::Ending),
            S::Have { name, .. } => self.is(name, Kind::Item),
            S::Place { name, far, .. } => {
                self.is(name, Kind::Place);
                self.each(far.iter().map(|far| &far.from), Wants::Place);
            }
            S::Round(name, places) => {
                self.is(name, Kind::Round);
                self.each(places, Wants::Place);
            }
            S::Sign { name, .. } => self.is(name, Kind::Sign),
            S::Secret(name, _) => self.is(name, Kind::Secret),
            S::Ask { value, answer, .. } => self.ask(value, answer),
            S::StartOnlyIf(condition, _) | S::BetterIf(condition, _) | S::OnlyIf(condition) => {
                self.condition(condition);
            }
            S::KeepAway(item, _) | S::Take(item) | S::PutDown(item) => {
                self.means(item, Wants::Item);
            }
            S::Keep { name, watched, lost, .. } => {
                self.is(name, Kind::Guard);
                self.each(watched, Wants::Place);
                self.outcome(lost);
            }
            S::Never(_, so) | S::AnythingElse(so) | S::Late(so) | S::Slip(so) => self.outcome(so),
            S::Allow(name, ..) => self.is(name, Kind::Purse),
            S::Operator(name, _) => self.is(name, Kind::Operator),
            S::Helper(name, _) => self.is(name, Kind::Helper),
            S::Part(name, stand_ins) => {
                self.is(name, Kind::Part);
                for name in stand_ins {
                    self.is(name, Kind::StandIn);
                }
            }
            S::Phase(name) => self.is(name, Kind::Phase),
            S::Each(turn, group) => {
                self.is(turn, Kind::Turn);
                self.means(group, Wants::Group);
            }
            S::Table(name) => self.is(name, Kind::Table),
            S::Step(name, _) => self.is(name, Kind::Step),
            S::Do(part, given, alias) => {
                self.means(part, Wants::Part);
                self.each(given, Wants::Thing);
                alias.iter().for_each(|alias| self.is(alias, Kind::Alias));
            }
            S::Finish(name) => self.means(name, Wants::Ending),
            S::Test { item, otherwise, .. } => {
                self.each(item, Wants::Item);
                self.means(otherwise, Wants::Ending);
            }
            S::Recount { reading, per, otherwise, .. } => {
                self.means(reading, Wants::Reading);
                self.each(per, Wants::Item);
                self.means(otherwise, Wants::Ending);
            }
            S::With(items, place) => {
                self.each(items, Wants::Item);
                self.each(place, Wants::Place);
            }
            S::AtPlace(place) => self.means(place, Wants::Place),
            S::By(helper) => self.means(helper, Wants::Helper),
            S::LetGoOf(step) => self.means(step, Wants::Step),
            S::Hold(held, _) | S::OrHold(held, _) => self.held(&held.value),
            S::Count(count, _) => self.count(count),
            S::LetGo(when, ..) | S::Window(when, ..) | S::Begin(when, ..) => self.when(when),
            S::OrWindow(when, ..) => self.when(when),
            S::Sensed { sights, when, so, .. } => {
                for sight in sights {
                    match &sight.what {
                        SightOf::Sign(name) => self.means(name, Wants::Sign),
                        SightOf::Text(_) => {}
                    }
                }
                when.iter().for_each(|when| self.when(when));
                self.outcome(so);
            }
            S::LookUp(table, when, ..) => {
                self.means(table, Wants::Table);
                when.iter().for_each(|when| self.when(when));
            }
            S::Nothing { when, so, .. } => {
                self.when(when);
                self.outcome(so);
            }
        }
    }

    fn ask(&mut self, value: &'t Value, answer: &'t Answer) {
        let of = owner(value);
        let says = Says::Is(Kind::Reading);
        self.0.push(Mention { name: &value.name, says, of: of.clone() });
        if let ValueMore::Of(item) = &value.more {
            self.means(item, Wants::Item);
        }
        if let Answer::Choice(answers) = answer {
            for name in answers {
                let of = std::iter::once(&*value.name.value).chain(of.iter().copied()).collect();
                self.0.push(Mention { name, says: Says::Is(Kind::Answer), of });
            }
        }
    }

    fn value(&mut self, value: &'t Value) {
        let says = Says::Means(Wants::Reading);
        self.0.push(Mention { name: &value.name, says, of: owner(value) });
        match &value.more {
            ValueMore::Of(name) | ValueMore::With(name) => self.means(name, Wants::Item),
            ValueMore::Alone => {}
        }
    }

    fn condition(&mut self, condition: &'t Condition) {
        self.value(&condition.value);
        match &condition.test {
            ConditionTest::SameAs(value) => self.value(value),
            ConditionTest::Is(name) => {
                let reading = std::iter::once(&*condition.value.name.value);
                let of = reading.chain(owner(&condition.value)).collect();
                self.0.push(Mention { name, says: Says::Means(Wants::Answer), of });
            }
            ConditionTest::AtLeast(..) | ConditionTest::AtMost(..) | ConditionTest::Between(..) => {
            }
        }
    }

    fn held(&mut self, held: &'t Held) {
        match held {
            Held::Until(event, _) => self.event(event),
            Held::On | Held::For(_) => {}
        }
    }

    fn count(&mut self, count: &'t Count) {
        match &count.how_many {
            HowMany::Reading(name) => self.means(name, Wants::Reading),
            HowMany::Until(event) => self.event(event),
            HowMany::Exactly(_) => {}
        }
    }

    fn when(&mut self, when: &'t When) {
        when.after.iter().for_each(|event| self.event(event));
    }

    fn event(&mut self, event: &'t EventOf) {
        for (at, name) in event.path.iter().enumerate() {
            let of = event.path[..at].iter().map(|name| &*name.value).collect();
            self.0.push(Mention { name, says: Says::Means(Wants::Moment), of });
        }
    }

    fn outcome(&mut self, outcome: &'t Outcome) {
        match outcome {
            Outcome::GoOn | Outcome::ThisOne(_) => {}
            Outcome::GoTo(step) => self.means(step, Wants::Step),
            Outcome::Finish(ending) => self.means(ending, Wants::Ending),
            Outcome::GoBack(back) => self.go_back(back),
        }
    }

    fn go_back(&mut self, back: &'t GoBack) {
        self.means(&back.to, Wants::Step);
        self.each(&back.way, Wants::Part);
        if let Tries::While(purse) = &back.tries {
            self.means(purse, Wants::Purse);
        }
        self.outcome(&back.otherwise);
    }
}

/// The item that a reading belongs to.
fn owner(value: &Value) -> Vec<&str> {
    match &value.more {
        ValueMore::Of(item) => vec![&item.value],
        ValueMore::Alone | ValueMore::With(_) => Vec::new(),
    }
}
