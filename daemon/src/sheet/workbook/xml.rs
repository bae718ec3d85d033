//! Attributes of XML.

use quick_xml::XmlVersion;
use quick_xml::events::BytesStart;

/// An attribute by its name without the prefix.
pub(super) fn attribute(tag: &BytesStart<'_>, name: &str) -> Option<String> {
    // That none stands twice is not looked at: with a million of them that takes hours.
    let mut attributes = tag.attributes();
    let mut attributes = attributes.with_checks(false).flatten();
    let found = attributes.find(|found| found.key.local_name().as_ref() == name)?;
    let value = found.normalized_value(XmlVersion::Implicit1_0).ok()?;
    Some(value.into_owned())
}
