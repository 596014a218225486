//! `[loop]`: what feeds the devices, with the keys of a wiring sheet below it.

use super::Number;
use crate::bench::sheet::shape::{
    CableTable, CardTable, DeviceTable, MasterTable, NoiseTable, SeriesTable, Sheet, ShuntTable, SupplyTable,
    ToleranceTable,
};
use schemars::JsonSchema;
use serde::Deserialize;
use toml::Spanned;

/// The loop: the current that drives the positioners, and, where that is to be computed, all that stands on a wiring
/// sheet. Either the sheet's tables stand here, such as [loop.supply], [[loop.cable]] and [[loop.device]], or `sheet`
/// names a file. Every device of the bench is then a device of the sheet, with the same tag or long tag; one that has no
/// tag on the sheet is the bench's device of the same number. A device without enough volts or current is without
/// power: silent, until it has enough and has started.
#[derive(Debug, Default, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct LoopTable {
    /// Current in the loop when the bench starts, mA, 0 to 30. It is the set point of the positioners:
    /// 4 mA is 0 %, 20 mA is 100 %. With a card it is what the card is told to drive. Default 4.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 30.0))]
    pub current_ma: Option<Spanned<Number>>,
    /// A wiring sheet, such as looprig wiring reads, relative to this file; instead of the tables below.
    #[schemars(with = "Option<String>")]
    pub sheet: Option<Spanned<String>>,
    /// As on a wiring sheet.
    pub title: Option<String>,
    /// As on a wiring sheet: a voltage supply with a resistor in the loop; either this or a card.
    #[schemars(with = "Option<SupplyTable>")]
    pub supply: Option<Spanned<SupplyTable>>,
    /// As on a wiring sheet: an output card that drives the current; either this or a supply.
    #[schemars(with = "Option<CardTable>")]
    pub card: Option<Spanned<CardTable>>,
    /// As on a wiring sheet: where the lines of the bench and its masters are connected, and how they transmit.
    #[schemars(with = "Option<MasterTable>")]
    pub master: Option<Spanned<MasterTable>>,
    /// As on a wiring sheet: noise where receivers are, with the signal it says how many bits are wrong.
    #[schemars(with = "Option<NoiseTable>")]
    pub noise: Option<Spanned<NoiseTable>>,
    /// As on a wiring sheet.
    #[serde(default)]
    #[schemars(with = "Vec<CableTable>")]
    pub cable: Vec<Spanned<CableTable>>,
    /// As on a wiring sheet.
    #[serde(default)]
    #[schemars(with = "Vec<SeriesTable>")]
    pub series: Vec<Spanned<SeriesTable>>,
    /// As on a wiring sheet.
    #[serde(default)]
    #[schemars(with = "Vec<ShuntTable>")]
    pub shunt: Vec<Spanned<ShuntTable>>,
    /// As on a wiring sheet: where a device of the bench hangs on the wires, and what it needs.
    #[schemars(with = "Option<Vec<DeviceTable>>")]
    pub device: Option<Vec<Spanned<DeviceTable>>>,
    /// As on a wiring sheet; it makes no difference here.
    #[schemars(with = "Option<ToleranceTable>")]
    pub tolerance: Option<Spanned<ToleranceTable>>,
    /// As on a wiring sheet, mA; it makes no difference here.
    #[schemars(with = "Option<Vec<f64>>")]
    pub currents_ma: Option<Vec<Spanned<Number>>>,
}

impl LoopTable {
    /// Whether any table of a sheet stands here.
    pub fn has_tables(&self) -> bool {
        let places = self.first_table_at();
        places.is_some() || self.title.is_some() || self.currents_ma.is_some()
    }

    /// Where the first of them stands.
    pub fn first_table_at(&self) -> Option<core::ops::Range<usize>> {
        fn at<T>(table: &Option<Spanned<T>>) -> Option<core::ops::Range<usize>> {
            table.as_ref().map(Spanned::span)
        }
        [
            at(&self.supply),
            at(&self.card),
            at(&self.master),
            at(&self.noise),
            at(&self.tolerance),
            self.cable.first().map(Spanned::span),
            self.series.first().map(Spanned::span),
            self.shunt.first().map(Spanned::span),
            self.device.as_ref().and_then(|d| d.first()).map(Spanned::span),
        ]
        .into_iter()
        .flatten()
        .min_by_key(|span| span.start)
    }

    /// The same as the sheet of its own that it could be.
    pub fn into_sheet(self) -> Sheet {
        Sheet {
            title: self.title,
            supply: self.supply,
            card: self.card,
            master: self.master,
            noise: self.noise,
            cable: self.cable,
            series: self.series,
            shunt: self.shunt,
            device: self.device,
            tolerance: self.tolerance,
            currents_ma: self.currents_ma,
        }
    }
}
