// What the graphics processor does for each corner and each pixel.

export const MARKS_WIDE = 4096; // a row of the marks' texture

export const BODY_VERTEX = `#version 300 es
uniform mat4 matrix;
uniform highp usampler2D marks;
in vec3 place;
out vec3 at;
flat out uint mark;
void main() {
  int face = gl_VertexID / 3;
  mark = texelFetch(marks, ivec2(face % ${MARKS_WIDE}, face / ${MARKS_WIDE}), 0).r;
  at = place;
  gl_Position = matrix * vec4(place, 1.0);
}`;

const LIGHT = `
vec3 lit(vec3 colour, vec3 at, vec3 eye, vec3 up, vec3 right) {
  vec3 normal = normalize(cross(dFdx(at), dFdy(at)));
  float facing = abs(dot(normal, eye));
  normal *= sign(dot(normal, eye));
  float lamp = max(dot(normal, normalize(eye + 0.7 * up - 0.4 * right)), 0.0);
  return colour * (0.56 + 0.32 * lamp + 0.12 * facing);
}`;

export const BODY_FRAGMENT = `#version 300 es
precision highp float;
uniform vec3 eye, up, right;
uniform sampler2D colours;
in vec3 at;
flat in uint mark;
out vec4 seen;
${LIGHT}
void main() {
  seen = vec4(lit(texelFetch(colours, ivec2(int(mark), 0), 0).rgb, at, eye, up, right), 1.0);
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
uniform vec3 eye, up, right;
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
  seen = vec4(lit(c.rgb / max(c.a, 0.02), at, eye, up, right) * c.a, c.a);
}`;

export const LINE_VERTEX = `#version 300 es
uniform mat4 matrix;
uniform vec2 size;
uniform float width;
in vec3 a, b;
void main() {
  vec4 p = matrix * vec4(a, 1.0), q = matrix * vec4(b, 1.0);
  vec2 run = (q.xy - p.xy) * size;
  run = length(run) > 0.0 ? normalize(run) : vec2(1.0, 0.0);
  vec4 end = (gl_VertexID & 1) == 0 ? p : q;
  float side = (gl_VertexID & 2) == 0 ? 1.0 : -1.0;
  float cap = (gl_VertexID & 1) == 0 ? -0.5 : 0.5;
  gl_Position = end + vec4((vec2(-run.y, run.x) * side + run * cap) * width / size, -0.0006, 0.0);
}`;

export const LINE_FRAGMENT = `#version 300 es
precision mediump float;
uniform vec4 colour;
out vec4 seen;
void main() { seen = colour; }`;
