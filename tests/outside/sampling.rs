//! Sample sizes against scipy, and drawn samples against a second implementation from the specification.

use liftledger::keeping::sampling::{Confidence, chance_of_none, draw, size};

use super::libraries::ask;

/// Source: PyPI scipy, `scipy.stats.hypergeom`. 200 random plans, populations to 10,000,000, from a fixed seed.
#[test]
fn sample_sizes_are_those_of_scipy() {
    let script = "
import random
from scipy.stats import hypergeom
r = random.Random(417)
for _ in range(200):
    N = round(10 ** r.uniform(0.5, 7)); M = max(1, round(N ** r.uniform(0, 1)))
    c = r.choice(['0.5', '0.8', '0.9', '0.95', '0.99', '0.999', '%.6f' % r.uniform(0.05, 0.999)])
    low, high = 1, N - M + 1
    while low < high:
        n = (low + high) // 2
        if hypergeom.sf(0, N, M, n) >= float(c): high = n
        else: low = n + 1
    print(N, M, c, low, repr(float(hypergeom.pmf(0, N, M, low))), repr(float(hypergeom.sf(0, N, M, low) - float(c))),
          repr(float(hypergeom.sf(0, N, M, low - 1) - float(c))))
";
    let answer = String::from_utf8(ask(script, b"")).unwrap();
    let mut plans = 0;
    let mut ties = 0;
    for line in answer.lines() {
        let words: Vec<&str> = line.split(' ').collect();
        let number = |i: usize| words[i].parse::<u32>().unwrap();
        let real = |i: usize| words[i].parse::<f64>().unwrap();
        let confidence: Confidence = words[2].parse().unwrap();
        let ours = size(number(0), number(1), confidence).unwrap();
        plans += 1;
        // Where scipy's own floating point cannot tell the two sides apart (1e-9), ours may be the one beside it.
        if ours != number(3) {
            let near = real(5).abs() < 1e-9 || real(6).abs() < 1e-9;
            assert!(near && ours.abs_diff(number(3)) == 1, "{line}: {ours}");
            ties += 1;
        } else {
            let none = chance_of_none(number(0), number(1), ours);
            assert!((none - real(4)).abs() < 1e-6, "{line}: {none}");
        }
    }
    assert_eq!(plans, 200);
    assert!(ties <= 5, "{ties}");
}

/// Source: `src/keeping/SAMPLING.md` written down once more in Python, with hashlib's SHA-256.
#[test]
fn a_stranger_draws_the_same_samples() {
    let script = "
import hashlib
def sample(N, n, seed):
    i = 0
    def below(b):
        nonlocal i
        while True:
            r = int.from_bytes(hashlib.sha256(f'liftledger-sample-1:{seed}:{i}'.encode()).digest()[:8], 'big'); i += 1
            if r < 2**64 // b * b: return r % b
    a = list(range(N))
    for k in range(n):
        j = k + below(N - k); a[k], a[j] = a[j], a[k]
    return sorted(a[:n])
for N, n, seed in [(1000, 5, 'boatyard'), (1, 1, 'x'), (400, 59, 'b7c0'), (400, 400, '!'), (99999, 1234, 'harrow-cove')]:
    print(*sample(N, n, seed))
";
    let answer = String::from_utf8(ask(script, b"")).unwrap();
    let theirs: Vec<Vec<u32>> = answer
        .lines()
        .map(|l| l.split(' ').map(|w| w.parse().unwrap()).collect())
        .collect();
    let ours: Vec<Vec<u32>> = [
        (1000, 5, "boatyard"),
        (1, 1, "x"),
        (400, 59, "b7c0"),
        (400, 400, "!"),
        (99_999, 1234, "harrow-cove"),
    ]
    .iter()
    .map(|(population, n, seed)| draw(*population, *n, seed).unwrap())
    .collect();
    assert_eq!(ours, theirs);
}
