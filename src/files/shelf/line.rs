//! Lists and small values on one line of the file.

use serde::{Deserialize, Deserializer, Serialize, Serializer};

use crate::files::layout::ron_options;

/// A value that is written on one line, however deep the layout would go.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct OneLine<T>(pub(super) T);

impl<T: Serialize> Serialize for OneLine<T> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        use serde::ser::Error as _;
        let layout = ron::ser::PrettyConfig::new().depth_limit(0);
        let text = ron_options()
            .to_string_pretty(&self.0, layout)
            .map_err(S::Error::custom)?;
        ron::value::RawValue::from_ron(&text)
            .map_err(S::Error::custom)?
            .serialize(serializer)
    }
}

impl<'de, T: Deserialize<'de>> Deserialize<'de> for OneLine<T> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        T::deserialize(deserializer).map(Self)
    }
}
