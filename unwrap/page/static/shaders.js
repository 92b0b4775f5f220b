// What the graphics processor does for each corner and each pixel.

export const MARKS_WIDE = 4096; // a row of the marks' texture

// The body is looked at in one go for each turn of the camera: which face each pixel shows, and
// in how much light. Colouring is a second step over the pixels alone, so that a change of
// colours costs the same on a body of a million faces as on a box.
export const LOOK_VERTEX = `#version 300 es
uniform mat4 matrix;
in vec3 place;
out vec3 at;
flat out uint face;
void main() {
  face = uint(gl_VertexID / 3) + 1u;
  at = place;
  gl_Position = matrix * vec4(place, 1.0);
}`;

const LIGHT = `
uniform vec3 eye, up, right;
float light(vec3 at) {
  vec3 normal = normalize(cross(dFdx(at), dFdy(at)));
  float facing = abs(dot(normal, eye));
  normal *= sign(dot(normal, eye));
  float lamp = max(dot(normal, normalize(eye + 0.7 * up - 0.4 * right)), 0.0);
  return 0.66 + 0.25 * lamp + 0.09 * facing;
}`;

export const LOOK_FRAGMENT = `#version 300 es
precision highp float;
in vec3 at;
flat in uint face;
out highp uvec2 seen;
${LIGHT}
void main() { seen = uvec2(face, uint(light(at) * 1000.0)); }`;

export const COLOUR_VERTEX = `#version 300 es
void main() { gl_Position = vec4(float(gl_VertexID & 1) * 4.0 - 1.0, float(gl_VertexID & 2) * 2.0 - 1.0, 0.0, 1.0); }`;

export const COLOUR_FRAGMENT = `#version 300 es
precision highp float;
precision highp int;
uniform highp usampler2D look, marks;
uniform sampler2D colours;
out vec4 seen;
void main() {
  uvec2 found = texelFetch(look, ivec2(gl_FragCoord.xy), 0).rg;
  if (found.x == 0u) { seen = vec4(1.0); return; }
  int face = int(found.x) - 1;
  uint mark = texelFetch(marks, ivec2(face % ${MARKS_WIDE}, face / ${MARKS_WIDE}), 0).r;
  seen = vec4(texelFetch(colours, ivec2(int(mark), 0), 0).rgb * float(found.y) / 1000.0, 1.0);
}`;

export const PATCH_VERTEX = `#version 300 es
uniform mat4 matrix;
uniform highp vec3 eye;
uniform float lift;
in vec3 place;
in vec2 flatPoint;
out vec3 at;
out vec2 on;
void main() {
  at = place;
  on = flatPoint;
  gl_Position = matrix * vec4(place + eye * lift, 1.0);
}`;

export const PATCH_FRAGMENT = `#version 300 es
precision highp float;
uniform vec4 colour;
uniform vec4 frame;
uniform bool printed;
uniform sampler2D print;
in vec3 at;
in vec2 on;
out vec4 seen;
${LIGHT}
void main() {
  vec4 c = colour;
  if (printed) c = texture(print, (on - frame.xy) / frame.zw);
  if (c.a < 0.02) discard;
  seen = vec4(c.rgb * light(at), c.a);
}`;

export const LINE_VERTEX = `#version 300 es
uniform mat4 matrix;
uniform vec2 size;
uniform float width, lift;
uniform highp vec3 eye;
in vec3 a, b;
void main() {
  vec4 p = matrix * vec4(a + eye * lift, 1.0), q = matrix * vec4(b + eye * lift, 1.0);
  vec2 run = (q.xy - p.xy) * size;
  run = length(run) > 0.0 ? normalize(run) : vec2(1.0, 0.0);
  vec4 end = (gl_VertexID & 1) == 0 ? p : q;
  float side = (gl_VertexID & 2) == 0 ? 1.0 : -1.0;
  float cap = (gl_VertexID & 1) == 0 ? -0.5 : 0.5;
  gl_Position = end + vec4((vec2(-run.y, run.x) * side + run * cap) * width / size, -0.002, 0.0);
}`;

export const LINE_FRAGMENT = `#version 300 es
precision mediump float;
uniform vec4 colour;
out vec4 seen;
void main() { seen = colour; }`;
