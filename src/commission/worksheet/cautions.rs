//! What can hurt somebody, in words that stand before the work.

/// A caution. Where a source is public it is named; the rest is common practice, no source [TV-51].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Caution {
    /// Who may do it, and by which rules.
    Authority,
    /// Isolation and lock `OSHA147`.
    Isolation,
    /// The process behind the valve `HSG253`.
    Process,
    /// Springs, trapped air, weight `OSHA147`.
    StoredEnergy,
    /// Parts that move.
    Moving,
    /// Valves of trips and safety functions.
    Trip,
    /// Hazardous areas.
    HazardousArea,
    /// Current and the loop.
    Electrical,
    /// Compressed air or gas.
    Air,
}

impl Caution {
    /// One word or two for the margin.
    pub fn title(self) -> &'static str {
        match self {
            Caution::Authority => "Authority",
            Caution::Isolation => "Isolation",
            Caution::Process => "Process",
            Caution::StoredEnergy => "Stored energy",
            Caution::Moving => "Moving parts",
            Caution::Trip => "Trip or safety valve",
            Caution::HazardousArea => "Hazardous area",
            Caution::Electrical => "Electrical",
            Caution::Air => "Air supply",
        }
    }

    /// What to mind.
    pub fn words(self) -> &'static str {
        match self {
            Caution::Authority => {
                "Local codes, the site's permit and licensed practice decide; this sheet and the tool that printed it do not. Agree the work with \
                 operations first, and know where the valve goes when air or signal is lost."
            }
            Caution::Isolation => {
                "Know every source of energy, shut down in order, isolate all of them, lock and tag. Then prove that nothing is left, and prove it \
                 again if it can build up."
            }
            Caution::Process => {
                "A control valve is no isolation: it does not shut tight and it moves when signal or air is lost. Isolate the process by other means, \
                 or put it on its bypass, to the grade that the site asks for."
            }
            Caution::StoredEnergy => {
                "A pressed spring and trapped air stay when the supply is off. Vent both sides of the actuator, let the stem come to rest on a stop or \
                 block it, and never open a casing that is under spring load."
            }
            Caution::Moving => {
                "The valve can move at full force without warning: stem, lever, pin and coupling pinch and shear. Keep fingers and tools away, keep \
                 guards on, and keep everybody off the line until the air is shut and vented."
            }
            Caution::Trip => {
                "A valve that trips or protects something is touched only with the approval of those who answer for the function. Whatever is bridged is \
                 written down, put back and proven."
            }
            Caution::HazardousArea => {
                "In a hazardous area open no live cover unless the type of protection allows it, use test equipment that is certified for the area, and \
                 keep the limits of intrinsically safe loops. A licensed person decides."
            }
            Caution::Electrical => {
                "Do not break a live loop of a valve in service: it goes to its fail position. Isolate, prove dead, or use a point made for breaking in. \
                 Instruments that are earthed by their plug can short the loop."
            }
            Caution::Air => {
                "Wear eye and ear protection. Shut the supply and vent it before a fitting is opened, never feel for leaks with bare hands, and mind \
                 where exhaust goes if the valve runs on gas."
            }
        }
    }
}
