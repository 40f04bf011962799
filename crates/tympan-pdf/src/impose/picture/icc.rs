//! Colour profiles (ISO 15076-1) as pictures carry them.

use std::sync::Arc;

use super::Colours;

/// The longest profile taken along. Those of printers have a few megabytes.
const MAX: usize = 16 << 20;

/// A colour profile that fits its picture.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub(crate) struct Profile(Arc<Vec<u8>>);

impl Profile {
    /// The profile, if it is one and speaks of these colours. Another one is passed over, as
    /// viewers do.
    pub(super) fn new(bytes: Vec<u8>, colours: &Colours) -> Option<Self> {
        let space: &[u8] = match colours {
            Colours::Grey => b"GRAY",
            Colours::Rgb | Colours::Palette(_) => b"RGB ",
            Colours::Cmyk => b"CMYK",
        };
        // The header: 128 bytes with the data's colour space at 16 and the signature at 36.
        let sound = (128..=MAX).contains(&bytes.len())
            && bytes.get(36..40) == Some(b"acsp")
            && bytes.get(16..20) == Some(space);
        sound.then(|| Self(Arc::new(bytes)))
    }

    pub(crate) fn bytes(&self) -> &[u8] {
        &self.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_profile_of_other_colours_is_passed_over() {
        let mut bytes = vec![0; 200];
        bytes[16..20].copy_from_slice(b"GRAY");
        bytes[36..40].copy_from_slice(b"acsp");
        assert!(Profile::new(bytes.clone(), &Colours::Grey).is_some());
        assert!(Profile::new(bytes.clone(), &Colours::Rgb).is_none());
        bytes.truncate(100);
        assert!(Profile::new(bytes, &Colours::Grey).is_none());
    }
}
