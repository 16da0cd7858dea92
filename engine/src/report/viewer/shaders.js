// What runs on the graphics card: surfaces, and lines of a width in pixels.

const SURFACE_POINTS = `#version 300 es
uniform mat4 matrix;
uniform float lift;
layout(location = 0) in vec3 place;
layout(location = 1) in vec3 normal;
layout(location = 2) in float value;
layout(location = 3) in float label;
out vec3 at;
out vec3 facing;
out float amount;
flat out int belongs;
void main() {
  at = place;
  facing = normal;
  amount = value;
  belongs = int(label + 0.5);
  gl_Position = matrix * vec4(place, 1.0);
  // Where two scans saw a surface, the one that a feature was taken from comes first.
  if (belongs > 0) gl_Position.z -= lift * gl_Position.w;
}`;

// kind: 0 scan, 1 part, 2 other part, 3 overlap, 4 scan of the made part. A triangle's label is that of its last corner.
// Only where something is cut off may pixels be thrown away: a shader that can is asked for every hidden pixel too.
const surfacePixels = (isCut) => `#version 300 es
precision highp float;
precision highp int;
uniform vec3 back, up, right, eye, colour;
uniform vec4 cut;
uniform bool perspective, curved, banded, hot;
uniform int kind, chosen;
uniform float alpha, limits[6], hatched, marked[2];
uniform vec3 bands[7], unknown;
uniform sampler2D palette;
in vec3 at;
in vec3 facing;
in float amount;
flat in int belongs;
out vec4 paint;
void main() {
  ${isCut ? 'if (dot(cut.xyz, at) > cut.w) discard;' : ''}
  vec3 toEye = perspective ? normalize(eye - at) : back;
  vec3 n = curved ? normalize(facing) : normalize(cross(dFdx(at), dFdy(at)));
  if (dot(n, toEye) < 0.0) n = -n;
  float light = 0.46 + 0.58 * max(0.0, dot(n, normalize(toEye + 0.45 * up - 0.35 * right)));
  float stripe = fract((gl_FragCoord.x + gl_FragCoord.y) / 9.0);
  vec3 base = colour / 255.0;
  bool inside = !gl_FrontFacing;
  if (kind == 0) {
    vec4 tint = texelFetch(palette, ivec2(belongs & 255, belongs >> 8), 0);
    base = mix(base, tint.rgb, tint.a);
    if (inside) base = mix(base, vec3(0.55, 0.40, 0.28), 0.6);
    if (chosen > 0 && belongs == chosen) base = mix(base, vec3(1.0, 0.86, 0.25), 0.55);
  } else if (inside && kind < 3) {
    // The inside of a solid is only seen through a cut: drawn flat and hatched it looks like the cut face.
    base = stripe < 0.2 ? vec3(0.25) : vec3(0.74, 0.74, 0.70);
    light = 1.0;
  } else if (banded) {
    int band = 0;
    for (int i = 0; i < 6; i++) if (amount >= limits[i]) band = i + 1;
    base = (amount > 9e8 ? unknown : bands[band]) / 255.0;
    if (amount < hatched && stripe < 0.28) base = mix(base, vec3(1.0), 0.5);
    float wide = fwidth(amount);
    for (int i = 0; i < 2; i++)
      if (abs(amount - marked[i]) < 0.9 * wide && wide < 1e3) base = vec3(0.08);
    light = mix(1.0, light, 0.5);
  } else if (kind == 3 && stripe < 0.35) {
    base = mix(base, vec3(1.0), 0.55);
  }
  if (hot) base = mix(base, vec3(1.0, 0.86, 0.25), 0.3);
  paint = vec4(base * light, alpha);
}`;

// One strip of four corners for each segment; its ends are round.
const LINE_POINTS = `#version 300 es
uniform mat4 matrix;
uniform vec2 half_;
uniform float width, lift;
layout(location = 0) in vec3 a;
layout(location = 1) in vec3 b;
out vec3 at;
out vec3 along;
void main() {
  vec4 A = matrix * vec4(a, 1.0), B = matrix * vec4(b, 1.0);
  vec2 pa = A.xy / A.w * half_, pb = B.xy / B.w * half_;
  float long_ = length(pb - pa);
  vec2 d = long_ > 1e-3 ? (pb - pa) / long_ : vec2(1.0, 0.0);
  float end = (gl_VertexID & 1) == 0 ? -1.0 : 1.0;
  float side = gl_VertexID < 2 ? -1.0 : 1.0;
  float more = width / 2.0 + 1.0;
  vec4 P = end < 0.0 ? A : B;
  P.xy += (d * end + vec2(-d.y, d.x) * side) * more / half_ * P.w;
  P.z -= lift * P.w;
  if (A.w <= 0.0 || B.w <= 0.0) P = vec4(2.0, 2.0, 2.0, 1.0);
  at = end < 0.0 ? a : b;
  along = vec3(end < 0.0 ? -more : long_ + more, side * more, long_);
  gl_Position = P;
}`;

const LINE_PIXELS = `#version 300 es
precision highp float;
uniform vec4 cut;
uniform vec3 colour;
uniform float width, alpha, seam;
in vec3 at;
in vec3 along;
out vec4 paint;
void main() {
  if (dot(cut.xyz, at) > cut.w) discard;
  float off = length(vec2(max(max(-along.x, along.x - along.z), 0.0), along.y));
  float cover = clamp(width / 2.0 + 0.5 - off, 0.0, 1.0);
  if (cover <= 0.0) discard;
  float core = clamp(width / 2.0 - seam + 0.5 - off, 0.0, 1.0);
  paint = vec4(mix(vec3(1.0), colour / 255.0, core), cover * alpha);
}`;
