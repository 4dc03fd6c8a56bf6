//! What the vehicle's battery must hold: a floor and perhaps a ceiling.
//!
//! Takes the sentence; gives the model's need, or a complaint about a unit, a voltage that no 12 V
//! battery has, or a ceiling that does not lie above the floor.

use super::Check;
use super::values::unit_word;
use crate::complaint::{Code, Complaint};
use crate::power::check::{Refused, check_bounds};
use crate::procedure::model::BatteryNeed;
use crate::source::Place;
use crate::syntax::tree::{At, Decimal, Unit};

/// A number with its unit.
type Volts = (Decimal, At<Unit>);

impl Check<'_> {
    pub(super) fn battery(&mut self, floor: &Volts, ceiling: Option<&Volts>, place: Place) {
        let units = [Some(floor), ceiling].into_iter().flatten();
        let units: Vec<bool> = units.map(|(_, unit)| self.in_volts(unit)).collect();
        if units.contains(&false) {
            return;
        }
        match check_bounds(floor.0.value, ceiling.map(|(number, _)| number.value)) {
            Ok((floor, ceiling)) => {
                self.model.battery.get_or_insert(BatteryNeed { floor, ceiling, place });
            }
            Err(Refused::CeilingBelowFloor { floor, ceiling }) => {
                let complaint = Complaint::new(Code::RangeReversed, place)
                    .with("lo", volts(floor.0.into()))
                    .with("hi", volts(ceiling.0.into()));
                self.complain(complaint);
            }
            Err(_) => {
                let outside = |(number, _): &&Volts| check_bounds(number.value, None).is_err();
                let written = [Some(floor), ceiling].into_iter().flatten().find(outside);
                let (number, _) = written.unwrap_or(floor);
                let complaint = Complaint::new(Code::BatteryVoltage, number.place);
                self.complain(complaint.with("value", volts(number.value)));
            }
        }
    }

    fn in_volts(&mut self, unit: &At<Unit>) -> bool {
        if unit.value == Unit::Volt {
            return true;
        }
        let complaint = Complaint::new(Code::UnitMismatch, unit.place)
            .with("value", "battery")
            .with("unit", "V")
            .with("other", unit_word(&unit.value));
        self.complain(complaint);
        false
    }
}

/// Thousandths of a volt as a person writes them.
fn volts(thousandths: i64) -> String {
    let whole = thousandths / 1000;
    let part = format!("{:03}", (thousandths % 1000).abs());
    match part.trim_end_matches('0') {
        "" => format!("{whole} V"),
        part => format!("{whole}.{part} V"),
    }
}
