// Affine maps as canvases have them: (x, y) goes to (a x + c y + e, b x + d y + f).

/** First `m`, then `n`. */
export function then(m, n) {
  const [a, b, c, d, e, f] = m;
  const [A, B, C, D, E, F] = n;
  return [A * a + C * b, B * a + D * b, A * c + C * d, B * c + D * d, A * e + C * f + E, B * e + D * f + F];
}

export const shifted = (m, dx, dy) => [m[0], m[1], m[2], m[3], m[4] + dx, m[5] + dy];

export const apply = ([a, b, c, d, e, f], x, y) => [a * x + c * y + e, b * x + d * y + f];

export function inverse([a, b, c, d, e, f]) {
  const det = a * d - b * c;
  return [d / det, -b / det, -c / det, a / det, (c * f - d * e) / det, (b * e - a * f) / det];
}
