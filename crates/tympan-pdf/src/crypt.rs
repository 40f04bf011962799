//! Whether a password is the owner's.
//!
//! The reader opens a file with either password and does not say which one it was; the owner's
//! permission flags bind only those who hold the user's.

use aes::Aes128;
use aes::cipher::{BlockCipherEncrypt, KeyInit};
use md5::Md5;
use qpdf::{QPdf, QPdfDictionary, QPdfObjectLike, QPdfObjectType};
use sha2::{Digest, Sha256, Sha384, Sha512};

use crate::dig;

/// The string that short passwords are padded with (ISO 32000-1, 7.6.3.3, algorithm 2).
const PAD: [u8; 32] = [
    0x28, 0xBF, 0x4E, 0x5E, 0x4E, 0x75, 0x8A, 0x41, 0x64, 0x00, 0x4E, 0x56, 0xFF, 0xFA, 0x01, 0x08,
    0x2E, 0x2E, 0x00, 0xB6, 0xD0, 0x68, 0x3E, 0x80, 0x2F, 0x0C, 0xA9, 0xFE, 0x64, 0x53, 0x69, 0x7A,
];

/// What an encryption dictionary says that bears on passwords.
struct Lock {
    revision: i64,
    /// Of the key, in bytes.
    length: usize,
    owner: Vec<u8>,
    user: Vec<u8>,
    permissions: u32,
    encrypts_metadata: bool,
    /// The first half of the file's identifier.
    file_id: Vec<u8>,
}

/// Whether `password`, which opened the file, is the owner's.
pub(crate) fn is_owner(qpdf: &QPdf, encrypt: &QPdfDictionary, password: &str) -> bool {
    let bytes = |key: &str| string(encrypt, key).unwrap_or_default();
    let identifier = qpdf
        .get_trailer()
        .and_then(|trailer| dig::array(&trailer, "/ID"))
        .and_then(|id| id.get(0))
        .filter(|first| first.get_type() == QPdfObjectType::String)
        .map(|first| first.as_binary_string());
    let revision = dig::integer(encrypt, "/R").unwrap_or(0);
    let bits = dig::integer(encrypt, "/Length").unwrap_or(40);
    let lock = Lock {
        revision,
        length: match revision {
            ..=2 => 5,
            3 => usize::try_from(bits / 8).unwrap_or(5).clamp(5, 16),
            _ => 16,
        },
        owner: bytes("/O"),
        user: bytes("/U"),
        permissions: dig::integer(encrypt, "/P").unwrap_or(0) as u32,
        encrypts_metadata: encrypt
            .get("/EncryptMetadata")
            .is_none_or(|flag| flag.as_bool()),
        file_id: identifier.unwrap_or_default(),
    };
    match revision {
        2..=4 => lock.old_owner_opens(password.as_bytes()),
        5 | 6 => lock.new_owner_opens(password.as_bytes()),
        _ => false,
    }
}

fn string(from: &QPdfDictionary, key: &str) -> Option<Vec<u8>> {
    let object = from.get(key)?;
    (object.get_type() == QPdfObjectType::String).then(|| object.as_binary_string())
}

impl Lock {
    /// ISO 32000-1, 7.6.3.4, algorithm 7.
    fn old_owner_opens(&self, password: &[u8]) -> bool {
        if self.owner.len() < 32 || self.user.len() < 32 {
            return false;
        }
        let mut key = Md5::digest(padded(password)).to_vec();
        if self.revision >= 3 {
            for _ in 0..50 {
                key = Md5::digest(&key).to_vec();
            }
        }
        key.truncate(self.length);
        let mut user = self.owner[..32].to_vec();
        let passes = if self.revision >= 3 { 20 } else { 1 };
        for i in (0..passes).rev() {
            let pass: Vec<u8> = key.iter().map(|k| k ^ i).collect();
            rc4(&pass, &mut user);
        }
        self.old_user_opens(&user)
    }

    /// Algorithm 6, with the user's password already padded.
    fn old_user_opens(&self, padded: &[u8]) -> bool {
        let mut hash = Md5::new();
        hash.update(padded);
        hash.update(&self.owner[..32]);
        hash.update(self.permissions.to_le_bytes());
        hash.update(&self.file_id);
        if self.revision >= 4 && !self.encrypts_metadata {
            hash.update([0xff; 4]);
        }
        let mut key = hash.finalize().to_vec();
        if self.revision >= 3 {
            for _ in 0..50 {
                key = Md5::digest(&key[..self.length]).to_vec();
            }
        }
        key.truncate(self.length);
        if self.revision == 2 {
            let mut expected = PAD;
            rc4(&key, &mut expected);
            return expected == self.user[..32];
        }
        let mut expected = Md5::new()
            .chain_update(PAD)
            .chain_update(&self.file_id)
            .finalize();
        for i in 0..20 {
            let pass: Vec<u8> = key.iter().map(|k| k ^ i).collect();
            rc4(&pass, &mut expected);
        }
        expected[..] == self.user[..16]
    }

    /// ISO 32000-2, 7.6.4.4.10, algorithm 12: the hash, then 8 bytes of salt to validate with.
    fn new_owner_opens(&self, password: &[u8]) -> bool {
        let (Some(owner), Some(user)) = (self.owner.get(..48), self.user.get(..48)) else {
            return false;
        };
        let password = &password[..password.len().min(127)];
        let mut hash = Sha256::new()
            .chain_update(password)
            .chain_update(&owner[32..40])
            .chain_update(user)
            .finalize()
            .to_vec();
        if self.revision == 6 {
            hash = hardened(hash, password, user);
        }
        hash == owner[..32]
    }
}

/// ISO 32000-2, 7.6.4.3.4, algorithm 2.B.
fn hardened(mut key: Vec<u8>, password: &[u8], user: &[u8]) -> Vec<u8> {
    for round in 1.. {
        let once = [password, &key, user].concat();
        let mut text = once.repeat(64);
        cbc_encrypt(&key[..16], &key[16..32], &mut text);
        let remainder = text[..16].iter().map(|&b| u32::from(b)).sum::<u32>() % 3;
        key = match remainder {
            0 => Sha256::digest(&text).to_vec(),
            1 => Sha384::digest(&text).to_vec(),
            _ => Sha512::digest(&text).to_vec(),
        };
        let last = text.last().copied().map_or(0, u32::from);
        if round >= 64 && last <= round - 32 {
            break;
        }
    }
    key.truncate(32);
    key
}

/// AES-128 in CBC mode without padding; `text` is a whole number of blocks.
fn cbc_encrypt(key: &[u8], start: &[u8], text: &mut [u8]) {
    let Ok(cipher) = Aes128::new_from_slice(key) else {
        return;
    };
    let mut previous = [0u8; 16];
    previous.copy_from_slice(start);
    for chunk in text.chunks_exact_mut(16) {
        let mut block = [0u8; 16];
        for ((b, c), p) in block.iter_mut().zip(chunk.iter()).zip(previous) {
            *b = c ^ p;
        }
        let mut block = block.into();
        cipher.encrypt_block(&mut block);
        previous.copy_from_slice(&block);
        chunk.copy_from_slice(&block);
    }
}

fn padded(password: &[u8]) -> Vec<u8> {
    password.iter().chain(&PAD).copied().take(32).collect()
}

fn rc4(key: &[u8], data: &mut [u8]) {
    let mut state: [u8; 256] = std::array::from_fn(|i| i as u8);
    let mut j = 0u8;
    for i in 0..256 {
        j = j.wrapping_add(state[i]).wrapping_add(key[i % key.len()]);
        state.swap(i, j.into());
    }
    let (mut i, mut j) = (0u8, 0u8);
    for byte in data {
        i = i.wrapping_add(1);
        j = j.wrapping_add(state[usize::from(i)]);
        state.swap(i.into(), j.into());
        let at = state[usize::from(i)].wrapping_add(state[usize::from(j)]);
        *byte ^= state[usize::from(at)];
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The test vectors that came with the first publication of the cipher, repeated in RFC 6229
    /// and many textbooks (from memory).
    #[test]
    fn rc4_gives_the_published_streams() {
        let mut text = *b"Plaintext";
        rc4(b"Key", &mut text);
        assert_eq!(text, [0xBB, 0xF3, 0x16, 0xE8, 0xD9, 0x40, 0xAF, 0x0A, 0xD3]);
        let mut text = *b"pedia";
        rc4(b"Wiki", &mut text);
        assert_eq!(text, [0x10, 0x21, 0xBF, 0x04, 0x20]);
    }

    #[test]
    fn short_passwords_are_padded_and_long_ones_cut() {
        assert_eq!(padded(b"ab")[..4], [b'a', b'b', 0x28, 0xBF]);
        assert_eq!(padded(&[7; 40]), [7; 32]);
    }
}
