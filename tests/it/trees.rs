//! Arbitrary trees of the written language, one strategy a sentence, for the tests of reading and
//! printing.

use proptest::prelude::*;
use stepbell::clock::Millis;
use stepbell::source::Place;
use stepbell::syntax::tree::*;

/// Words of the language that no name can be.
const RESERVED: &[&str] = &[
    "called", "heard", "begun", "done", "released", "answered", "reported", "over", "previous",
    "once", "twice", "after", "of", "as", "at", "and", "or", "is", "text", "away", "awake",
    "until", "with", "from",
];

fn at<T>(value: T) -> At<T> {
    At { value, place: Place::default() }
}

fn name() -> BoxedStrategy<Name> {
    let made = "[a-z][a-z0-9]{0,6}(-[a-z0-9]{1,4}){0,2}";
    // Words of the language that are allowed as names are the interesting ones.
    let words = prop::sample::select(vec![
        "so", "on", "the", "between", "within", "lasts", "while", "each", "not", "s", "min", "to",
        "learned", "step", "end", "by", "way", "go", "else", "paces", "no", "for", "in", "give",
    ]);
    prop_oneof![3 => made, 1 => words.prop_map(str::to_owned)]
        .prop_filter("a word of the language", |name| !RESERVED.contains(&name.as_str()))
        .prop_map(at)
        .boxed()
}

fn names(least: usize) -> BoxedStrategy<Vec<Name>> {
    prop::collection::vec(name(), least..least + 3).boxed()
}

fn text() -> BoxedStrategy<Text> {
    "[^\"\\p{C}\u{2028}\u{2029}]{1,20}".prop_map(at).boxed()
}

fn number() -> BoxedStrategy<Number> {
    prop_oneof![0..12u32, any::<u32>()].prop_map(at).boxed()
}

fn decimal() -> BoxedStrategy<Decimal> {
    prop_oneof![-99_999..99_999i64, -9_000_000_000_000_000..9_000_000_000_000_000i64]
        .prop_map(at)
        .boxed()
}

fn duration() -> BoxedStrategy<Duration> {
    let long = 10 * 24 * 3_600_000i64;
    prop_oneof![0..5000i64, (0..7200i64).prop_map(|secs| secs * 1000), 0..long]
        .prop_map(|ms| at(Millis(ms)))
        .boxed()
}

fn length() -> BoxedStrategy<At<Length>> {
    let around = |(middle, leeway, about): (Duration, Option<Duration>, bool)| {
        let about = about || leeway.is_none();
        Length::Around { middle, leeway, about }
    };
    prop_oneof![
        duration().prop_map(Length::Exactly),
        (duration(), duration()).prop_map(|(lo, hi)| Length::FromTo(lo, hi)),
        duration().prop_map(Length::UpTo),
        duration().prop_map(Length::AtLeast),
        (duration(), maybe(duration()), any::<bool>()).prop_map(around),
    ]
    .prop_map(at)
    .boxed()
}

fn maybe<T: Clone + std::fmt::Debug + 'static>(
    of: impl Strategy<Value = T> + 'static,
) -> BoxedStrategy<Option<T>> {
    prop::option::of(of).boxed()
}

fn one_of<T: Clone + std::fmt::Debug + 'static>(these: &[T]) -> BoxedStrategy<T> {
    prop::sample::select(these.to_vec()).boxed()
}

fn sense() -> BoxedStrategy<Sense> {
    one_of(&[Sense::See, Sense::Hear, Sense::Feel, Sense::Read])
}

fn unit() -> BoxedStrategy<At<Unit>> {
    let known = [
        Unit::Volt,
        Unit::Ampere,
        Unit::AmpereHour,
        Unit::Megahertz,
        Unit::Kilohertz,
        Unit::Celsius,
        Unit::Kilopascal,
        Unit::KilometreHour,
        Unit::Percent,
    ];
    prop_oneof![one_of(&known), name().prop_map(|name| Unit::Count(name.value))]
        .prop_map(at)
        .boxed()
}

fn value() -> BoxedStrategy<Value> {
    let more = prop_oneof![
        Just(ValueMore::Alone),
        name().prop_map(ValueMore::Of),
        name().prop_map(ValueMore::With),
    ];
    (name(), more).prop_map(|(name, more)| Value { name, more }).boxed()
}

fn condition() -> BoxedStrategy<Condition> {
    let test = prop_oneof![
        (decimal(), unit()).prop_map(|(bound, unit)| ConditionTest::AtLeast(bound, unit)),
        (decimal(), unit()).prop_map(|(bound, unit)| ConditionTest::AtMost(bound, unit)),
        (decimal(), decimal(), unit())
            .prop_map(|(lo, hi, unit)| ConditionTest::Between(lo, hi, unit)),
        value().prop_map(ConditionTest::SameAs),
        name().prop_map(ConditionTest::Is),
    ];
    (value(), test).prop_map(|(value, test)| Condition { value, test, place: at(()) }).boxed()
}

fn event_of() -> BoxedStrategy<EventOf> {
    let event = one_of(&[
        Event::Called,
        Event::Heard,
        Event::Begun,
        Event::Done,
        Event::Released,
        Event::Answered,
        Event::Reported,
        Event::Over,
    ]);
    (any::<bool>(), names(0), event)
        .prop_map(|(previous, path, event)| EventOf { previous, path, event: at(event) })
        .boxed()
}

fn when() -> BoxedStrategy<When> {
    let bound = prop_oneof![
        duration().prop_map(Bound::Within),
        (duration(), duration()).prop_map(|(lo, hi)| Bound::Between(lo, hi)),
        duration().prop_map(Bound::NotBefore),
        (duration(), maybe(duration())).prop_map(|(middle, leeway)| Bound::About(middle, leeway)),
    ];
    (bound, maybe(event_of())).prop_map(|(bound, after)| When { bound: at(bound), after }).boxed()
}

fn turns() -> BoxedStrategy<Option<At<Turns>>> {
    maybe(one_of(&[
        Turns::FirstTurn,
        Turns::LaterTurns,
        Turns::EarlierTurns,
        Turns::LastTurn,
        Turns::FirstTry,
    ]))
    .prop_map(|turns| turns.map(at))
    .boxed()
}

fn accord() -> BoxedStrategy<Accord> {
    prop_oneof![
        Just(Accord::CommonPractice),
        text().prop_map(Accord::Source),
        text().prop_map(Accord::Assumed),
    ]
    .boxed()
}

fn held() -> BoxedStrategy<At<Held>> {
    prop_oneof![
        Just(Held::On),
        (event_of(), maybe(length())).prop_map(|(until, more)| Held::Until(until, more)),
        length().prop_map(Held::For),
    ]
    .prop_map(at)
    .boxed()
}

fn count() -> BoxedStrategy<Count> {
    let how_many = prop_oneof![
        number().prop_map(HowMany::Exactly),
        name().prop_map(HowMany::Reading),
        event_of().prop_map(HowMany::Until),
    ];
    let lasting = maybe((length(), any::<bool>()));
    let tails = (lasting, maybe(duration()), maybe(duration()), maybe(length()), maybe(text()));
    (how_many, tails)
        .prop_map(|(how_many, (lasting, within, each_within, every, ending))| Count {
            how_many,
            lasting,
            within,
            each_within,
            every,
            ending,
        })
        .boxed()
}

fn plain_outcome() -> BoxedStrategy<Outcome> {
    let class = one_of(&[ItemClass::Learned, ItemClass::NotLearned, ItemClass::Unsure]);
    prop_oneof![
        Just(Outcome::GoOn),
        name().prop_map(Outcome::GoTo),
        name().prop_map(Outcome::Finish),
        class.prop_map(|class| Outcome::ThisOne(at(class))),
    ]
    .boxed()
}

fn outcome() -> BoxedStrategy<Outcome> {
    let tries = prop_oneof![number().prop_map(Tries::AtMost), name().prop_map(Tries::While)];
    let back = (name(), maybe(name()), maybe(duration()), tries, plain_outcome());
    prop_oneof![
        plain_outcome(),
        back.prop_map(|(to, way, after, tries, otherwise)| {
            Outcome::GoBack(Box::new(GoBack { to, way, after, tries, otherwise }))
        }),
    ]
    .boxed()
}

fn sight() -> BoxedStrategy<Sight> {
    let sign = (sense(), name())
        .prop_map(|(sense, sign)| Sight { sense: at(sense), what: SightOf::Sign(sign) });
    let read = text().prop_map(|text| Sight { sense: at(Sense::Read), what: SightOf::Text(text) });
    prop_oneof![3 => sign, 1 => read].boxed()
}

fn head() -> BoxedStrategy<Sentence> {
    let word =
        one_of(&[SignalWord::Danger, SignalWord::Warning, SignalWord::Caution, SignalWord::Notice]);
    let class = one_of(&[
        EndingClass::Learned,
        EndingClass::NotLearned,
        EndingClass::Unsure,
        EndingClass::Stopped,
    ]);
    let status = prop_oneof![
        Just(Status::Demonstration),
        Just(Status::Handbook),
        "[0-9]{4}-[0-9]{2}-[0-9]{2}".prop_map(|date| Status::Tried(at(date))),
    ];
    let subject = one_of(&[SubjectKind::Vehicle, SubjectKind::Device]);
    prop_oneof![
        text().prop_map(Sentence::Procedure),
        (subject, text()).prop_map(|(kind, text)| Sentence::Subject(kind, text)),
        number().prop_map(Sentence::Edition),
        status.prop_map(Sentence::Status),
        accord().prop_map(Sentence::Basis),
        text().prop_map(Sentence::Use),
        (word, maybe(name()), text()).prop_map(|(word, of, text)| Sentence::Alert(word, of, text)),
        Just(Sentence::AffirmOwnership),
        text().prop_map(Sentence::Affirm),
        (name(), class, text(), maybe(text())).prop_map(|(name, class, text, hand_over)| {
            Sentence::Ending { name, class, text, hand_over }
        }),
    ]
    .boxed()
}

fn stock() -> BoxedStrategy<Sentence> {
    let role = one_of(&[Role::Registered, Role::New, Role::Tool]);
    let have = (maybe((number(), number())), name(), role, maybe(name()), text(), maybe(text()));
    let far = (number(), maybe(length()), name()).prop_map(|(paces, extra, from)| Far {
        paces,
        extra,
        from,
    });
    let pattern = prop_oneof![number().prop_map(Pattern::Times), name().prop_map(Pattern::State)];
    let sign = (name(), sense(), text(), maybe(pattern), maybe(length()), maybe(duration()));
    let answer = prop_oneof![
        (unit(), maybe((decimal(), decimal()))).prop_map(|(unit, of)| Answer::Number(unit, of)),
        Just(Answer::Text),
        names(2).prop_map(Answer::Choice),
    ];
    prop_oneof![
        have.prop_map(|(group, name, role, kind, label, felt)| {
            Sentence::Have { group, name, role, kind, label, felt }
        }),
        (name(), maybe(far), text()).prop_map(|(name, far, text)| Sentence::Place {
            name,
            far,
            text
        }),
        (name(), names(1)).prop_map(|(name, places)| Sentence::Round(name, places)),
        sign.prop_map(|(name, sense, object, pattern, lasting, quiet)| {
            Sentence::Sign { name, sense: at(sense), object, pattern, lasting, quiet }
        }),
        (name(), text()).prop_map(|(name, text)| Sentence::Secret(name, text)),
        (value(), answer, text()).prop_map(|(value, answer, text)| Sentence::Ask {
            value,
            answer,
            text
        }),
        text().prop_map(Sentence::StartWith),
        (condition(), text()).prop_map(|(test, text)| Sentence::StartOnlyIf(test, text)),
        (condition(), text()).prop_map(|(test, text)| Sentence::BetterIf(test, text)),
    ]
    .boxed()
}

fn stretch() -> BoxedStrategy<Sentence> {
    let keep = (name(), text(), names(0), outcome());
    prop_oneof![
        (name(), text()).prop_map(|(name, text)| Sentence::KeepAway(name, text)),
        (duration(), text()).prop_map(|(every, text)| Sentence::KeepAwake(every, text)),
        keep.prop_map(|(name, text, watched, lost)| Sentence::Keep { name, text, watched, lost }),
        (text(), outcome()).prop_map(|(text, done)| Sentence::Never(text, done)),
        (name(), number(), text()).prop_map(|(name, n, text)| Sentence::Allow(name, n, text)),
        text().prop_map(Sentence::BreakOff),
    ]
    .boxed()
}

fn block() -> BoxedStrategy<Sentence> {
    let kind = one_of(&[
        BlockKind::Operator,
        BlockKind::Helper,
        BlockKind::Part,
        BlockKind::Phase,
        BlockKind::Each,
        BlockKind::Repeat,
        BlockKind::Only,
        BlockKind::Table,
        BlockKind::Tests,
    ]);
    prop_oneof![
        (name(), maybe(text())).prop_map(|(name, text)| Sentence::Operator(name, text)),
        (name(), maybe(text())).prop_map(|(name, text)| Sentence::Helper(name, text)),
        (name(), names(0)).prop_map(|(name, of)| Sentence::Part(name, of)),
        name().prop_map(Sentence::Phase),
        (name(), name()).prop_map(|(one, all)| Sentence::Each(one, all)),
        number().prop_map(Sentence::Repeat),
        condition().prop_map(Sentence::OnlyIf),
        name().prop_map(Sentence::Table),
        Just(Sentence::Tests),
        kind.prop_map(|kind| Sentence::End(at(kind))),
    ]
    .boxed()
}

fn flow() -> BoxedStrategy<Sentence> {
    let test = (maybe(name()), text(), text(), name());
    let recount = (name(), number(), maybe(name()), name());
    prop_oneof![
        3 => (name(), text()).prop_map(|(name, text)| Sentence::Step(name, text)),
        1 => (name(), names(0), maybe(name())).prop_map(|(n, of, alias)| Sentence::Do(n, of, alias)),
        1 => name().prop_map(Sentence::Finish),
        1 => (text(), any::<bool>()).prop_map(|(text, safe)| Sentence::NoWayBack(text, safe)),
        1 => test.prop_map(|(item, text, expect, otherwise)| {
            Sentence::Test { item, text, expect, otherwise }
        }),
        1 => recount.prop_map(|(reading, more, per, otherwise)| {
            Sentence::Recount { reading, more, per, otherwise }
        }),
    ]
    .boxed()
}

fn doing() -> BoxedStrategy<Sentence> {
    let hands = one_of(&[HandCount::None, HandCount::One, HandCount::Both]);
    let fixed = one_of(&[
        Sentence::OnlyWatch,
        Sentence::NoAnswer,
        Sentence::NoReport,
        Sentence::StraightOn,
    ]);
    prop_oneof![
        fixed,
        text().prop_map(Sentence::Prepare),
        (text(), maybe(length())).prop_map(|(text, lasts)| Sentence::Say(text, lasts)),
        (length(), maybe(accord())).prop_map(|(length, who)| Sentence::Takes(length, who)),
        (names(1), maybe(name())).prop_map(|(items, place)| Sentence::With(items, place)),
        name().prop_map(Sentence::AtPlace),
        name().prop_map(Sentence::By),
        name().prop_map(Sentence::Take),
        name().prop_map(Sentence::PutDown),
        hands.prop_map(Sentence::Needs),
        (held(), maybe(accord())).prop_map(|(held, who)| Sentence::Hold(held, who)),
        name().prop_map(Sentence::LetGoOf),
        (when(), turns(), maybe(accord())).prop_map(|(w, t, who)| Sentence::LetGo(w, t, who)),
        (count(), maybe(accord())).prop_map(|(count, who)| Sentence::Count(count, who)),
        (text(), maybe(length())).prop_map(|(text, takes)| Sentence::OneWay(text, takes)),
        length().prop_map(Sentence::Reacts),
        length().prop_map(Sentence::Reports),
        number().prop_map(Sentence::Speech),
        length().prop_map(Sentence::Walks),
        number().prop_map(Sentence::Has),
    ]
    .boxed()
}

fn window_or_outcome() -> BoxedStrategy<Sentence> {
    let moment = || (when(), turns(), maybe(accord()));
    let sensed = (prop::collection::vec(sight(), 1..4), maybe(when()), turns(), maybe(accord()));
    let look_up = (name(), maybe(when()), turns(), maybe(accord()));
    prop_oneof![
        moment().prop_map(|(when, turns, who)| Sentence::Window(when, turns, who)),
        moment().prop_map(|(when, turns, who)| Sentence::Begin(when, turns, who)),
        moment().prop_map(|(when, turns, who)| Sentence::OrWindow(when, turns, who)),
        (length(), maybe(accord())).prop_map(|(length, who)| Sentence::OrTakes(length, who)),
        (held(), maybe(accord())).prop_map(|(held, who)| Sentence::OrHold(held, who)),
        (sensed, outcome()).prop_map(|((sights, when, turns, accord), so)| {
            Sentence::Sensed { sights, when, turns, accord, so }
        }),
        look_up.prop_map(|(table, when, turns, who)| Sentence::LookUp(table, when, turns, who)),
        (moment(), outcome()).prop_map(|((when, turns, accord), so)| {
            Sentence::Nothing { when, turns, accord, so }
        }),
        outcome().prop_map(Sentence::AnythingElse),
        outcome().prop_map(Sentence::Late),
        outcome().prop_map(Sentence::Slip),
    ]
    .boxed()
}

fn between() -> BoxedStrategy<Sentence> {
    let remark = "[^\\p{C}\u{2028}\u{2029}]{0,20}";
    let remark = remark.prop_map(|text| text.trim_matches([' ', '\t']).to_owned());
    let stray = one_of(&["wait 5s", "stepwake \"x\"", "end", "phse x", "takes 3", "\"", "only no"]);
    prop_oneof![
        2 => Just(Sentence::Blank),
        2 => remark.prop_map(Sentence::Remark),
        1 => stray.prop_map(|text| Sentence::Stray(text.to_owned())),
    ]
    .boxed()
}

/// Any sentence that the language has, empty lines, remarks and stray lines among them.
pub fn sentence() -> BoxedStrategy<Sentence> {
    prop_oneof![
        1 => head(),
        1 => stock(),
        1 => stretch(),
        2 => block(),
        1 => flow(),
        2 => doing(),
        2 => window_or_outcome(),
        2 => between(),
    ]
    .boxed()
}

/// Any tree, its blocks paired or not.
pub fn tree() -> BoxedStrategy<Tree> {
    prop::collection::vec(sentence(), 0..40)
        .prop_map(|sentences| Tree {
            lines: sentences
                .into_iter()
                .map(|sentence| Line { place: Place::default(), sentence })
                .collect(),
        })
        .boxed()
}
