//! What was noticed of the signal, between whoever hears it and whoever keeps it [LG-05].

use crate::capture::{SignalNotice, SignalRemark};
use crate::wave::{Noticed, Remark};

impl From<Remark> for SignalRemark {
    fn from(r: Remark) -> SignalRemark {
        let what = match r.what {
            Noticed::TwoTalkers => SignalNotice::TwoTalkers,
            Noticed::Weak { peak_to_peak_v } => SignalNotice::Weak { peak_to_peak_v },
        };
        SignalRemark { at: r.at, until: r.until, what }
    }
}

impl From<SignalRemark> for Remark {
    fn from(r: SignalRemark) -> Remark {
        let what = match r.what {
            SignalNotice::TwoTalkers => Noticed::TwoTalkers,
            SignalNotice::Weak { peak_to_peak_v } => Noticed::Weak { peak_to_peak_v },
        };
        Remark { at: r.at, until: r.until, what }
    }
}
