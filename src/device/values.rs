//! The named values of a reply, on their way into a layout.

use crate::app::command::{Layout, Missing, Value, layout};
use std::borrow::Cow;

/// A number as a single. One that is too large for it is not known [TY-03]: infinity never goes out.
pub(super) fn single(x: f64) -> Value {
    let x = x as f32;
    if x.is_finite() { Value::float(x) } else { Value::NOT_A_NUMBER }
}

/// Values by the names of a command's fields, in no particular order.
#[derive(Clone, Debug, Default)]
pub(super) struct Values(Vec<(Cow<'static, str>, Value)>);

impl Values {
    pub fn new() -> Self {
        Values::default()
    }

    pub fn and(mut self, name: impl Into<Cow<'static, str>>, value: Value) -> Self {
        self.0.push((name.into(), value));
        self
    }

    pub fn number(self, name: impl Into<Cow<'static, str>>, n: impl Into<u32>) -> Self {
        self.and(name, Value::Number(n.into()))
    }

    pub fn float(self, name: impl Into<Cow<'static, str>>, x: f64) -> Self {
        self.and(name, single(x))
    }

    pub fn text(self, name: impl Into<Cow<'static, str>>, text: &str) -> Self {
        self.and(name, Value::Text(text.to_owned()))
    }

    /// The octets in the order of `layout`. A value that is missing or does not fit is our own
    /// mistake, never the wire's: what is stored was checked, and each command has a test.
    pub fn encode(&self, layout: Layout) -> Vec<u8> {
        let made = layout::encode(layout, Missing::Error, &mut |name, _| {
            Ok(self.0.iter().find(|(n, _)| n == name).map(|(_, v)| v.clone()))
        });
        made.unwrap_or_else(|e| panic!("making a reply: {e}"))
    }
}
