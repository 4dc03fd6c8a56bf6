//! The questions about the vehicle's battery, one after the other, and what follows from the answers.
//!
//! Takes answers as they are typed; gives the next question until enough is known, then the
//! assessment. What is not plausible is asked again. The answers are the whole state: taking one
//! back is forgetting it.

use crate::guide::cue::BatteryAsk;
use crate::guide::reading::{self, Refused};
use crate::power::check::{self, Refused as Implausible};
use crate::power::{
    Ask, Assessment, Charger, Demand, Length, Load, MeterError, Millivolts, Question, Rated,
    Settings, TenthsCelsius, assess,
};
use crate::power::{Battery as State, Kind};
use crate::procedure::model::{BatteryNeed, ReadingKind};
use crate::procedure::plan::Value;

/// The words for *not known*, besides the press for something else.
const NOT_KNOWN: &[&str] = &["unknown", "not known", "?", "no", "n"];
const KINDS: [(&str, Kind); 3] =
    [("flooded", Kind::Flooded), ("agm", Kind::Agm), ("gel", Kind::Gel)];

/// How many numbered answers the question after the kind has.
pub(super) const KINDS_KNOWN: u32 = 3;

/// One answer.
#[derive(Clone, Debug, PartialEq, Eq)]
enum Given {
    /// A number in thousandths of the unit asked for, and how many decimals were typed.
    Number(i64, usize),
    /// One of the kinds.
    Kind(Kind),
    /// Yes or no.
    Yes(bool),
    /// The person does not know.
    NotKnown,
}

/// What was asked and answered, in order.
#[derive(Clone, Debug)]
pub(super) struct Battery {
    need: BatteryNeed,
    length: Length,
    given: Vec<(BatteryAsk, Given)>,
    /// A number that was typed in another way than it is kept, to be taken with one press.
    read_back: Option<(i64, usize)>,
}

/// What the person is asked now.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Asked {
    /// This.
    About(BatteryAsk),
    /// Whether this number was meant, in thousandths.
    ReadBack(BatteryAsk, i64),
    /// Nothing more is asked: this follows.
    Judged(Box<Assessment>),
}

/// What a press or a text led to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Led {
    /// An answer was taken: to this question, with this value.
    Taken(BatteryAsk, Value),
    /// It was not taken.
    Refused(Refused),
    /// The number on show is meant to be typed again.
    Again,
    /// The battery is enough: go on.
    Enough(Box<Assessment>),
    /// It is not, and the person measures again.
    Measured(Box<Assessment>),
    /// It ends here.
    Stop(Box<Assessment>),
}

impl Battery {
    /// Nothing is known yet. `length` is the worst length of the run.
    pub fn new(need: BatteryNeed, length: Length) -> Battery {
        Battery { need, length, given: Vec::new(), read_back: None }
    }

    /// What is asked now.
    pub fn asked(&self) -> Asked {
        let Some(ask) = self.next() else { return Asked::Judged(Box::new(assess(&self.known()))) };
        match self.read_back {
            Some((number, _)) => Asked::ReadBack(ask, number),
            None => Asked::About(ask),
        }
    }

    /// A typed answer.
    pub fn typed(&mut self, typed: &str) -> Led {
        let Some(ask) = self.next() else { return self.judged(typed.trim()) };
        let word = typed.trim().to_lowercase();
        if self.read_back.is_some() && matches!(word.as_str(), "y" | "yes") {
            return self.yes();
        }
        self.read_back = None;
        if let (BatteryAsk::Charger, Some(yes)) = (ask, yes_no(&word)) {
            return self.take(ask, Given::Yes(yes));
        }
        if NOT_KNOWN.contains(&word.as_str()) {
            return self.not_known(ask);
        }
        if ask == BatteryAsk::Kind {
            let kind = KINDS.iter().find(|(name, _)| *name == word);
            return match kind {
                Some((_, kind)) => self.take(ask, Given::Kind(*kind)),
                None => Led::Refused(Refused::NotUnderstood),
            };
        }
        let Some(unit) = ask.unit() else { return Led::Refused(Refused::NotUnderstood) };
        let kind = ReadingKind::Number { unit, plausible: None };
        match reading::read(&kind, typed) {
            Ok(value @ Value::Number(number)) => {
                let decimals = decimals(typed);
                if let Err(refused) = self.plausible(ask, number) {
                    return Led::Refused(refused);
                }
                if reading::as_typed(&value, typed.trim_end_matches('0').trim_end_matches('.'))
                    || reading::as_typed(&value, typed)
                {
                    return self.take(ask, Given::Number(number, decimals));
                }
                self.read_back = Some((number, decimals));
                Led::Again
            }
            Ok(Value::Text(_)) => Led::Refused(Refused::NotUnderstood),
            Err(refused) => Led::Refused(refused),
        }
    }

    /// A press for *yes*.
    pub fn yes(&mut self) -> Led {
        match (self.next(), self.read_back) {
            (None, _) => self.judged("yes"),
            (Some(ask), Some((number, decimals))) => {
                self.take(ask, Given::Number(number, decimals))
            }
            (Some(BatteryAsk::Charger), None) => self.take(BatteryAsk::Charger, Given::Yes(true)),
            (Some(_), None) => Led::Refused(Refused::NotUnderstood),
        }
    }

    /// A press for *no*, or *not known*.
    pub fn no(&mut self) -> Led {
        match (self.next(), self.read_back.take()) {
            (None, _) => self.judged("no"),
            (Some(_), Some(_)) => Led::Again,
            (Some(BatteryAsk::Charger), None) => self.take(BatteryAsk::Charger, Given::Yes(false)),
            (Some(ask), None) => self.not_known(ask),
        }
    }

    /// A numbered answer, from 1.
    pub fn number(&mut self, n: u8) -> Led {
        match (self.next(), n) {
            (Some(BatteryAsk::Kind), n) => {
                match usize::from(n).checked_sub(1).and_then(|n| KINDS.get(n)) {
                    Some((_, kind)) => self.take(BatteryAsk::Kind, Given::Kind(*kind)),
                    None => Led::Refused(Refused::NotUnderstood),
                }
            }
            (_, 1) => self.yes(),
            (_, 2) => self.no(),
            _ => Led::Refused(Refused::NotUnderstood),
        }
    }

    /// Forgets the last answer; whether there was one.
    pub fn back(&mut self) -> bool {
        self.read_back.take().is_some() || self.given.pop().is_some()
    }

    fn take(&mut self, ask: BatteryAsk, given: Given) -> Led {
        self.read_back = None;
        let value = value_of(&given);
        self.given.push((ask, given));
        Led::Taken(ask, value)
    }

    fn not_known(&mut self, ask: BatteryAsk) -> Led {
        if !ask.may_be_unknown() {
            return Led::Refused(Refused::NotUnderstood);
        }
        self.take(ask, Given::NotKnown)
    }

    /// The assessment is on show: go on, measure again, or stop.
    fn judged(&mut self, word: &str) -> Led {
        let assessment = Box::new(assess(&self.known()));
        match yes_no(&word.to_lowercase()) {
            Some(true) if assessment.may_start() => Led::Enough(assessment),
            Some(true) => {
                self.measure_again(&assessment);
                Led::Measured(assessment)
            }
            Some(false) => Led::Stop(assessment),
            None => Led::Refused(Refused::NotUnderstood),
        }
    }

    /// Forgets what has to be measured again: the charger where one has to be connected or read, or
    /// everything.
    fn measure_again(&mut self, assessment: &Assessment) {
        let only = |asks: &[Ask]| assessment.asks.iter().all(|ask| asks.contains(ask));
        let from = if assessment.asks.is_empty() {
            None
        } else if only(&[Ask::ChargerReadings]) {
            Some(BatteryAsk::ChargerVoltage)
        } else if only(&[Ask::Load, Ask::ChargerReadings]) {
            Some(BatteryAsk::Load)
        } else if only(&[Ask::ConnectCharger, Ask::ChargerReadings]) {
            Some(BatteryAsk::Charger)
        } else {
            None
        };
        let at = from.and_then(|from| self.given.iter().position(|(ask, _)| *ask == from));
        self.given.truncate(at.unwrap_or(0));
    }

    fn given(&self, ask: BatteryAsk) -> Option<&Given> {
        self.given.iter().rev().find(|(asked, _)| *asked == ask).map(|(_, given)| given)
    }

    fn figure(&self, ask: BatteryAsk) -> Option<i64> {
        match self.given(ask) {
            Some(Given::Number(number, _)) => Some(*number),
            _ => None,
        }
    }

    /// The next question, or `None` once everything that helps was asked.
    fn next(&self) -> Option<BatteryAsk> {
        use BatteryAsk as A;
        let open = |ask: A| self.given(ask).is_none();
        let fixed = [A::Kind, A::RestVoltage, A::Capacity, A::Age, A::Temperature];
        if let Some(ask) = fixed.into_iter().find(|ask| open(*ask)) {
            return Some(ask);
        }
        if self.rest().is_some() && open(A::KeyOnVoltage) {
            return Some(A::KeyOnVoltage);
        }
        if self.length == Length::Unbounded && open(A::Limit) {
            return Some(A::Limit);
        }
        let asks = assess(&self.known()).asks;
        let wanted = |ask: Ask| asks.contains(&ask);
        if wanted(Ask::Ratings) && open(A::ReserveMinutes) {
            return Some(A::ReserveMinutes);
        }
        if wanted(Ask::Load) && open(A::Load) {
            return Some(A::Load);
        }
        if wanted(Ask::RestVoltageAgain) && open(A::RestVoltageAgain) {
            return Some(A::RestVoltageAgain);
        }
        if open(A::Charger) {
            return Some(A::Charger);
        }
        let charger = self.given(A::Charger) == Some(&Given::Yes(true));
        if charger && open(A::ChargerCurrent) {
            return Some(A::ChargerCurrent);
        }
        let readings = [A::ChargerVoltage, A::ChargerVoltageAgain];
        let reading = readings.into_iter().find(|ask| open(*ask));
        reading.filter(|_| charger && self.readings().is_none() && wanted(Ask::ChargerReadings))
    }

    fn rest(&self) -> Option<Millivolts> {
        let again = self.figure(BatteryAsk::RestVoltageAgain);
        let read = again.or_else(|| self.figure(BatteryAsk::RestVoltage))?;
        check::check_rest_voltage(read).ok()
    }

    fn readings(&self) -> Option<[Millivolts; 2]> {
        let read = |ask| check::check_charger_voltage(self.figure(ask)?).ok();
        Some([read(BatteryAsk::ChargerVoltage)?, read(BatteryAsk::ChargerVoltageAgain)?])
    }

    fn plausible(&self, ask: BatteryAsk, number: i64) -> Result<(), Refused> {
        use BatteryAsk as A;
        let fine = match ask {
            A::Kind | A::Charger => Ok(()),
            A::RestVoltage | A::RestVoltageAgain => check::check_rest_voltage(number).map(drop),
            A::Capacity => check::check_capacity(number).map(drop),
            A::ReserveMinutes => check::check_reserve_minutes(number).map(drop),
            A::Age => check::check_age(number).map(drop),
            A::Temperature => check::check_temperature(number).map(drop),
            A::KeyOnVoltage => {
                let rest = self.rest().unwrap_or(Millivolts(i32::MAX));
                check::check_drop(rest, number).map(drop)
            }
            A::Load => check::check_load(number).map(drop),
            A::ChargerCurrent => check::check_charger(number).map(drop),
            A::ChargerVoltage | A::ChargerVoltageAgain => {
                check::check_charger_voltage(number).map(drop)
            }
            A::Limit => check::check_limit(number).map(drop),
        };
        fine.map_err(|_: Implausible| Refused::NotPlausible)
    }

    /// All that is known, as the assessment wants it.
    fn known(&self) -> Question {
        use BatteryAsk as A;
        let kind = match self.given(A::Kind) {
            Some(Given::Kind(kind)) => *kind,
            _ => Kind::Flooded,
        };
        let figure = |ask| self.figure(ask);
        let temperature = figure(A::Temperature)
            .and_then(|t| check::check_temperature(t).ok())
            .unwrap_or(TenthsCelsius(0));
        Question {
            battery: State {
                kind,
                rated: self.rated(),
                rest: self.rest(),
                age: figure(A::Age).and_then(|years| check::check_age(years).ok()),
                temperature,
                resistance: None,
            },
            load: self.load(),
            charger: self.charger(),
            demand: Demand {
                length: self.bounded(),
                floor: self.need.floor,
                ceiling: self.need.ceiling,
            },
            meter: self.meter(),
            settings: Settings::default(),
        }
    }

    fn rated(&self) -> Option<Rated> {
        let capacity = self.figure(BatteryAsk::Capacity);
        let reserve = self.figure(BatteryAsk::ReserveMinutes);
        let capacity = capacity.and_then(|c| check::check_capacity(c).ok());
        let reserve = reserve.and_then(|r| check::check_reserve_minutes(r).ok());
        match (capacity, reserve) {
            (Some(capacity), _) => Some(Rated::TwentyHours(capacity)),
            (None, Some(reserve)) => Some(Rated::ReserveMinutes(reserve)),
            (None, None) => None,
        }
    }

    fn load(&self) -> Option<Load> {
        let read = self.figure(BatteryAsk::KeyOnVoltage);
        let drop = self.rest().zip(read).and_then(|(rest, on)| check::check_drop(rest, on).ok());
        let amperes =
            self.figure(BatteryAsk::Load).and_then(|amperes| check::check_load(amperes).ok());
        match (drop, amperes) {
            (Some(drop), Some(amperes)) => Some(Load::Both { amperes, drop }),
            (Some(drop), None) => Some(Load::Drop(drop)),
            (None, Some(amperes)) => Some(Load::Amperes(amperes)),
            (None, None) => None,
        }
    }

    fn charger(&self) -> Option<Charger> {
        let gives = self.figure(BatteryAsk::ChargerCurrent)?;
        let connected = self.given(BatteryAsk::Charger) == Some(&Given::Yes(true));
        let charger = check::check_charger(gives).ok().filter(|_| connected)?;
        Some(Charger { readings: self.readings(), ..charger })
    }

    fn bounded(&self) -> Length {
        match (self.length, self.figure(BatteryAsk::Limit)) {
            (Length::Unbounded, Some(minutes)) => {
                check::check_limit(minutes).map_or(Length::Unbounded, Length::AtMost)
            }
            (length, _) => length,
        }
    }

    /// The meter is as coarse as its coarsest reading.
    fn meter(&self) -> MeterError {
        use BatteryAsk as A;
        let voltages = [
            A::RestVoltage,
            A::RestVoltageAgain,
            A::KeyOnVoltage,
            A::ChargerVoltage,
            A::ChargerVoltageAgain,
        ];
        let decimals = voltages.into_iter().filter_map(|ask| match self.given(ask) {
            Some(Given::Number(_, decimals)) => Some(*decimals),
            _ => None,
        });
        MeterError::of_decimals(decimals.min().unwrap_or(2))
    }
}

fn yes_no(word: &str) -> Option<bool> {
    match word {
        "y" | "yes" => Some(true),
        "n" | "no" => Some(false),
        _ => None,
    }
}

/// How many decimals were typed.
fn decimals(typed: &str) -> usize {
    let after = typed.trim().split_once(['.', ',']).map_or("", |(_, after)| after);
    after.chars().take_while(char::is_ascii_digit).count()
}

fn value_of(given: &Given) -> Value {
    match given {
        Given::Number(number, _) => Value::Number(*number),
        Given::Kind(kind) => {
            let name = KINDS.iter().find(|(_, known)| known == kind).map_or("", |(name, _)| name);
            Value::Text(name.to_owned())
        }
        Given::Yes(yes) => Value::Text(if *yes { "yes" } else { "no" }.to_owned()),
        Given::NotKnown => Value::Text("not known".to_owned()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::Millis;
    use crate::power::Verdict;
    use crate::source::Place;

    fn battery(floor: i32) -> Battery {
        let need = BatteryNeed { floor: Millivolts(floor), ceiling: None, place: Place::default() };
        Battery::new(need, Length::AtMost(Millis::secs(600)))
    }

    #[track_caller]
    fn answer(battery: &mut Battery, ask: BatteryAsk, typed: &str) {
        assert_eq!(battery.asked(), Asked::About(ask));
        let led = battery.typed(typed);
        assert!(matches!(led, Led::Taken(..)), "{typed:?} led to {led:?}");
    }

    /// A healthy battery without a charger, by its voltage with the key on.
    fn alone(key_on: &str) -> [(BatteryAsk, &str); 7] {
        use BatteryAsk as A;
        [
            (A::Kind, "flooded"),
            (A::RestVoltage, "12.60"),
            (A::Capacity, "60"),
            (A::Age, "2"),
            (A::Temperature, "20"),
            (A::KeyOnVoltage, key_on),
            (A::Charger, "no"),
        ]
    }

    fn judged(battery: &mut Battery, answers: &[(BatteryAsk, &str)]) -> Box<Assessment> {
        for (ask, typed) in answers {
            answer(battery, *ask, typed);
        }
        match battery.asked() {
            Asked::Judged(assessment) => assessment,
            asked => panic!("{asked:?}"),
        }
    }

    #[test]
    fn a_good_battery_goes_without_a_charger() {
        let mut battery = battery(12_000);
        let assessment = judged(&mut battery, &alone("12.55"));
        assert_eq!(assessment.verdict, Verdict::Go);
        assert!(matches!(battery.yes(), Led::Enough(_)));
    }

    #[test]
    fn what_is_not_plausible_is_asked_again_and_a_comma_is_read_back() {
        use BatteryAsk as A;
        let mut battery = battery(12_000);
        assert_eq!(battery.typed("lead"), Led::Refused(Refused::NotUnderstood));
        answer(&mut battery, A::Kind, "agm");
        assert_eq!(battery.typed("1265"), Led::Refused(Refused::NotPlausible));
        assert_eq!(battery.typed("twelve"), Led::Refused(Refused::NotUnderstood));
        assert_eq!(battery.typed("12,65"), Led::Again);
        assert_eq!(battery.asked(), Asked::ReadBack(A::RestVoltage, 12_650));
        assert_eq!(battery.yes(), Led::Taken(A::RestVoltage, Value::Number(12_650)));
        answer(&mut battery, A::Capacity, "70");
        assert_eq!(battery.typed("-2"), Led::Refused(Refused::NotPlausible));
        answer(&mut battery, A::Age, "unknown");
        answer(&mut battery, A::Temperature, "-5");
        assert_eq!(battery.typed("12.9"), Led::Refused(Refused::NotPlausible));
        answer(&mut battery, A::KeyOnVoltage, "12.50");
        answer(&mut battery, A::Charger, "yes");
        assert_eq!(battery.typed("0"), Led::Refused(Refused::NotPlausible));
        assert!(battery.back());
        assert_eq!(battery.asked(), Asked::About(A::Charger));
    }

    #[test]
    fn a_floor_above_any_battery_asks_for_a_charger_and_two_readings() {
        use BatteryAsk as A;
        let mut battery = battery(13_000);
        let assessment = judged(&mut battery, &alone("12.50"));
        assert_eq!(assessment.verdict, Verdict::DoNotStart);
        assert!(matches!(battery.yes(), Led::Measured(_)));
        let charged = [
            (A::Charger, "yes"),
            (A::ChargerCurrent, "40"),
            (A::ChargerVoltage, "13.40"),
            (A::ChargerVoltageAgain, "13.41"),
        ];
        let assessment = judged(&mut battery, &charged);
        assert_eq!(assessment.verdict, Verdict::GoWithCharger, "{:?}", assessment.findings);
        assert!(assessment.may_start(), "{:?}", assessment.asks);
    }

    #[test]
    fn where_a_drop_leaves_too_much_open_the_current_is_asked_for() {
        use BatteryAsk as A;
        let mut battery = battery(13_000);
        judged(&mut battery, &alone("12.35"));
        assert!(matches!(battery.yes(), Led::Measured(_)));
        let charged = [
            (A::Charger, "yes"),
            (A::ChargerCurrent, "20"),
            (A::Load, "9"),
            (A::ChargerVoltage, "13.40"),
            (A::ChargerVoltageAgain, "13.40"),
        ];
        let assessment = judged(&mut battery, &charged);
        assert_eq!(assessment.verdict, Verdict::GoWithCharger, "{:?}", assessment.findings);
        // Who cannot measure it is told so, and asked for it first when measuring again.
        for _ in 0..3 {
            assert!(battery.back());
        }
        answer(&mut battery, A::Load, "unknown");
        let assessment = judged(&mut battery, &charged[3..]);
        assert_eq!(assessment.verdict, Verdict::DoNotStart);
        assert_eq!(assessment.asks, [Ask::Load]);
        assert!(matches!(battery.yes(), Led::Measured(_)));
        assert_eq!(battery.asked(), Asked::About(A::Load));
    }
}
