//! `[[wire_fault]]`: what spoils transmissions on the wires [LI-22].

use super::shape::{Number, Whole, WireFaultTable};
use super::{Fault, TIME_S, number, whole, words};
use crate::line::{FaultKind, FaultOf, WireFault};
use crate::time::Instant;
use core::ops::{Range, RangeInclusive};
use core::time::Duration;
use toml::Spanned;

/// A kind as the file names it, and the keys that belong to it alone.
struct Kind {
    name: &'static str,
    keys: &'static [&'static str],
}

const KINDS: [Kind; 8] = [
    Kind { name: "bit_errors", keys: &["rate"] },
    Kind { name: "lost_octets", keys: &["octets"] },
    Kind { name: "inserted_octets", keys: &["octets"] },
    Kind { name: "gap", keys: &["characters"] },
    Kind { name: "carrier_lost", keys: &["octets"] },
    Kind { name: "short_preamble", keys: &["preambles_left"] },
    Kind { name: "repeated", keys: &["characters"] },
    Kind { name: "noise", keys: &["every_s", "octets"] },
];

/// Which transmissions, as the file names them.
const OF: [(&str, FaultOf); 4] = [
    ("all", FaultOf::All),
    ("requests", FaultOf::Requests),
    ("answers", FaultOf::Answers),
    ("bursts", FaultOf::Bursts),
];

/// The rule that a table makes.
pub(super) fn wire_fault(table: &Spanned<WireFaultTable>) -> Result<WireFault, Fault> {
    let t = table.get_ref();
    let Some(name) = &t.kind else {
        let names: Vec<&str> = KINDS.iter().map(|k| k.name).collect();
        let right = format!("give kind = one of {}", names.join(", "));
        return Err(Fault::new(&table.span(), "this fault has no kind", right));
    };
    let kinds: Vec<(&str, &Kind)> = KINDS.iter().map(|k| (k.name, k)).collect();
    let kind = words::one_of(name, "kind", &kinds)?;
    keys_belong(t, kind)?;
    let keys = Keys { table, kind };
    let octets = || keys.whole(&t.octets, "octets", 1..=255);
    let characters = || keys.number(&t.characters, "characters", "characters", 0.0..=1000.0);
    let fault = match kind.name {
        "bit_errors" => FaultKind::BitErrors { rate: keys.number(&t.rate, "rate", "", 0.0..=1.0)? },
        "lost_octets" => FaultKind::LostOctets { count: octets()? },
        "inserted_octets" => FaultKind::InsertedOctets { count: octets()? },
        "gap" => FaultKind::Gap { characters: characters()? },
        "carrier_lost" => FaultKind::CarrierLost { octets: octets()? },
        "short_preamble" => {
            FaultKind::ShortPreamble { left: keys.whole(&t.preambles_left, "preambles_left", 0..=20)? as u8 }
        }
        "repeated" => FaultKind::Repeated { after_characters: characters()? },
        _ => {
            let every_s = keys.number(&t.every_s, "every_s", "s", 0.001..=*TIME_S.end())?;
            FaultKind::Noise { every: Duration::from_secs_f64(every_s), octets: octets()? }
        }
    };
    let given = |n: &Option<Spanned<Number>>, key: &str| {
        n.as_ref()
            .map(|n| number(n, key, "s", TIME_S).map(|s| Instant::ZERO + Duration::from_secs_f64(s)))
            .transpose()
    };
    let from = given(&t.from_s, "from_s")?.unwrap_or(Instant::ZERO);
    let until = given(&t.until_s, "until_s")?;
    if let (Some(until), Some(key)) = (until, &t.until_s)
        && until <= from
    {
        let wrong = "this fault ends before it begins";
        return Err(Fault::new(&key.span(), wrong, "give until_s a later time than from_s"));
    }
    Ok(WireFault {
        kind: fault,
        share: t.share.as_ref().map_or(Ok(1.0), |n| number(n, "share", "", 0.0..=1.0))?,
        of: t.of.as_ref().map_or(Ok(FaultOf::All), |of| words::one_of(of, "of", &OF))?,
        from,
        until,
    })
}

/// Refuses keys of other kinds: whoever writes them means something that will not happen.
fn keys_belong(t: &WireFaultTable, kind: &Kind) -> Result<(), Fault> {
    let span = |n: &Option<Spanned<Number>>| n.as_ref().map(Spanned::span);
    let given: [(&str, Option<Range<usize>>); 7] = [
        ("rate", span(&t.rate)),
        ("octets", t.octets.as_ref().map(Spanned::span)),
        ("characters", span(&t.characters)),
        ("preambles_left", t.preambles_left.as_ref().map(Spanned::span)),
        ("every_s", span(&t.every_s)),
        ("share", span(&t.share)),
        ("of", t.of.as_ref().map(Spanned::span)),
    ];
    // Noise comes out of nowhere and concerns no transmission.
    let common: &[&str] = if kind.name == "noise" { &[] } else { &["share", "of"] };
    let is_alien = |key: &str| !kind.keys.contains(&key) && !common.contains(&key);
    match given.into_iter().find_map(|(key, at)| at.filter(|_| is_alien(key)).map(|at| (key, at))) {
        None => Ok(()),
        Some((key, at)) => {
            let wrong = format!("a fault of the kind {} has no {key}", kind.name);
            let keys = [kind.keys, common, &["from_s", "until_s"]].concat();
            Err(Fault::new(&at, wrong, format!("leave it out; its keys are {}", keys.join(", "))))
        }
    }
}

/// The keys that a kind must have.
struct Keys<'a> {
    table: &'a Spanned<WireFaultTable>,
    kind: &'a Kind,
}

impl Keys<'_> {
    fn missing(&self, key: &str) -> Fault {
        let wrong = format!("a fault of the kind {} needs {key}", self.kind.name);
        Fault::new(
            &self.table.span(),
            wrong,
            format!("give it {key}; `looprig mock --schema` says what it is"),
        )
    }

    fn whole(&self, n: &Option<Spanned<Whole>>, key: &str, range: RangeInclusive<i64>) -> Result<u16, Fault> {
        n.as_ref().map_or_else(|| Err(self.missing(key)), |n| whole(n, key, range))
    }

    fn number(
        &self,
        n: &Option<Spanned<Number>>,
        key: &str,
        unit: &str,
        range: RangeInclusive<f64>,
    ) -> Result<f64, Fault> {
        n.as_ref().map_or_else(|| Err(self.missing(key)), |n| number(n, key, unit, range))
    }
}
