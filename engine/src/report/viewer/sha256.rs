//! SHA-256 (FIPS 180-4), for the page's content security policy.

/// Digest of some bytes.
pub(super) fn of(bytes: &[u8]) -> [u8; 32] {
    let mut message = bytes.to_vec();
    message.push(0x80);
    message.resize(message.len().next_multiple_of(64), 0);
    if bytes.len() % 64 >= 56 {
        message.resize(message.len() + 64, 0);
    }
    let end = message.len();
    message[end - 8..].copy_from_slice(&(bytes.len() as u64 * 8).to_be_bytes());
    let k: Vec<u32> = primes().map(|p| fraction(f64::from(p).cbrt())).collect();
    let mut state = [0; 8];
    primes().zip(&mut state).for_each(|(p, s)| *s = fraction(f64::from(p).sqrt()));
    for block in message.chunks(64) {
        rounds(&mut state, block, &k);
    }
    let mut digest = [0; 32];
    digest.chunks_mut(4).zip(state).for_each(|(d, s)| d.copy_from_slice(&s.to_be_bytes()));
    digest
}

fn rounds(state: &mut [u32; 8], block: &[u8], k: &[u32]) {
    let mut w: Vec<u32> =
        block.chunks(4).map(|c| c.iter().fold(0, |n, b| n << 8 | u32::from(*b))).collect();
    let mix = |x: u32, a: u32, b: u32, c: u32| x.rotate_right(a) ^ x.rotate_right(b) ^ c;
    for t in 16..64 {
        let (x, y) = (w[t - 2], w[t - 15]);
        let (s1, s0) = (mix(x, 17, 19, x >> 10), mix(y, 7, 18, y >> 3));
        w.push(s1.wrapping_add(w[t - 7]).wrapping_add(s0).wrapping_add(w[t - 16]));
    }
    let [mut a, mut b, mut c, mut d, mut e, mut f, mut g, mut h] = *state;
    for (k, w) in k.iter().zip(w) {
        let s1 = mix(e, 6, 11, e.rotate_right(25));
        let s0 = mix(a, 2, 13, a.rotate_right(22));
        let one =
            h.wrapping_add(s1).wrapping_add((e & f) ^ (!e & g)).wrapping_add(*k).wrapping_add(w);
        let two = s0.wrapping_add((a & b) ^ (a & c) ^ (b & c));
        (h, g, f, e) = (g, f, e, d.wrapping_add(one));
        (d, c, b, a) = (c, b, a, one.wrapping_add(two));
    }
    for (s, v) in state.iter_mut().zip([a, b, c, d, e, f, g, h]) {
        *s = s.wrapping_add(v);
    }
}

/// The first 64 primes.
fn primes() -> impl Iterator<Item = u32> {
    (2..312u32).filter(|n| (2..*n).take_while(|d| d * d <= *n).all(|d| n % d != 0))
}

/// First 32 bits of what is behind the point.
fn fraction(root: f64) -> u32 {
    (root.fract() * 4_294_967_296.0) as u32
}

#[cfg(test)]
mod tests {
    use super::of;

    /// NIST, "SHA Test Vectors for Hashing Byte-Oriented Messages": lengths 0 and 24; FIPS 180-2, B.2: two blocks.
    #[test]
    fn published_digests() {
        let hex = |bytes: &[u8]| of(bytes).iter().map(|b| format!("{b:02x}")).collect::<String>();
        assert_eq!(hex(b""), "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
        assert_eq!(hex(b"abc"), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
        let long = b"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq";
        assert_eq!(hex(long), "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1");
    }
}
