// Everything that is drawn in three dimensions goes through this one class, so that
// another way of drawing could take its place.

import { COLOUR_FRAGMENT, COLOUR_VERTEX, LINE_FRAGMENT, LINE_VERTEX, LOOK_FRAGMENT, LOOK_VERTEX, MARKS_WIDE, PATCH_FRAGMENT, PATCH_VERTEX } from "./shaders.js";

// Drawing finer than the screen smooths edges; where no graphics processor draws it costs too much.
function drawnBySoftware() {
  const gl = document.createElement("canvas").getContext("webgl2");
  const info = gl && gl.getExtension("WEBGL_debug_renderer_info");
  const name = info ? gl.getParameter(info.UNMASKED_RENDERER_WEBGL) : "";
  gl?.getExtension("WEBGL_lose_context")?.loseContext();
  return /swiftshader|llvmpipe|software|basic render/i.test(name);
}

export class Drawing {
  constructor(canvas) {
    this.canvas = canvas;
    const gl = canvas.getContext("webgl2", { antialias: false, depth: false, alpha: false });
    if (!gl) throw new Error("This browser draws no WebGL 2; try another one.");
    this.gl = gl;
    this.finest = drawnBySoftware() ? 1 : 2; // dots for each of the screen's pixels, at least
    this.programs = {
      look: program(gl, LOOK_VERTEX, LOOK_FRAGMENT),
      colour: program(gl, COLOUR_VERTEX, COLOUR_FRAGMENT),
      patch: program(gl, PATCH_VERTEX, PATCH_FRAGMENT),
      line: program(gl, LINE_VERTEX, LINE_FRAGMENT),
    };
    this.patches = new Map();
    this.strokes = new Map();
    this.body = null;
    this.colours = texture(gl, gl.NEAREST);
    this.marks = texture(gl, gl.NEAREST);
    this.looked = null; // the turn of the camera that the pixels' faces are known for
  }

  setBody(vertices, faces) {
    const gl = this.gl;
    const corners = new Float32Array(faces.length * 3);
    for (let i = 0; i < faces.length; i++) {
      const v = faces[i] * 3;
      corners[3 * i] = vertices[v];
      corners[3 * i + 1] = vertices[v + 1];
      corners[3 * i + 2] = vertices[v + 2];
    }
    if (this.body) { gl.deleteVertexArray(this.body.array); gl.deleteBuffer(this.body.buffer); }
    const array = gl.createVertexArray();
    gl.bindVertexArray(array);
    const buffer = attribute(gl, this.programs.look, "place", corners, 3);
    this.looked = null;
    this.body = { array, buffer, count: faces.length };
    this.faceMarks = new Uint8Array(Math.ceil(faces.length / 3 / MARKS_WIDE) * MARKS_WIDE || MARKS_WIDE);
    this.setMarks(this.faceMarks);
  }

  // One byte a face: an index into the colours.
  setMarks(marks) {
    const gl = this.gl;
    gl.bindTexture(gl.TEXTURE_2D, this.marks);
    gl.pixelStorei(gl.UNPACK_ALIGNMENT, 1);
    gl.texImage2D(gl.TEXTURE_2D, 0, gl.R8UI, MARKS_WIDE, marks.length / MARKS_WIDE, 0, gl.RED_INTEGER, gl.UNSIGNED_BYTE, marks);
  }

  // Up to 256 colours as [r, g, b] of 0..255; the first is the bare body's.
  setColours(list) {
    const gl = this.gl;
    const bytes = new Uint8Array(256 * 4);
    list.slice(0, 256).forEach((c, i) => bytes.set([...c, 255], 4 * i));
    gl.bindTexture(gl.TEXTURE_2D, this.colours);
    gl.texImage2D(gl.TEXTURE_2D, 0, gl.RGBA, 256, 1, 0, gl.RGBA, gl.UNSIGNED_BYTE, bytes);
  }

  // A surface laid over the body: in one colour, or with a picture of a flat piece on it.
  // `lift` brings it nearer, mm, over the details that the film is carried over.
  // `frame` is the picture's [left, bottom, width, height] on the flat piece, mm.
  setPatch(name, { places, flat = null, faces = null, colour = [0, 0, 0, 1], picture = null, frame = [0, 0, 1, 1], lift = 0 }) {
    const gl = this.gl;
    this.dropPatch(name);
    const array = gl.createVertexArray();
    gl.bindVertexArray(array);
    const made = { array, buffers: [attribute(gl, this.programs.patch, "place", places, 3)], colour, frame, lift };
    if (flat) made.buffers.push(attribute(gl, this.programs.patch, "flatPoint", flat, 2));
    if (faces) {
      const index = gl.createBuffer();
      gl.bindBuffer(gl.ELEMENT_ARRAY_BUFFER, index);
      gl.bufferData(gl.ELEMENT_ARRAY_BUFFER, faces, gl.STATIC_DRAW);
      made.buffers.push(index);
    }
    made.indexed = Boolean(faces);
    made.count = faces ? faces.length : places.length / 3;
    if (picture) {
      made.picture = texture(gl, gl.LINEAR_MIPMAP_LINEAR, gl.LINEAR);
      gl.pixelStorei(gl.UNPACK_FLIP_Y_WEBGL, true);
      gl.pixelStorei(gl.UNPACK_PREMULTIPLY_ALPHA_WEBGL, true);
      gl.texImage2D(gl.TEXTURE_2D, 0, gl.RGBA, gl.RGBA, gl.UNSIGNED_BYTE, picture);
      gl.pixelStorei(gl.UNPACK_FLIP_Y_WEBGL, false);
      gl.pixelStorei(gl.UNPACK_PREMULTIPLY_ALPHA_WEBGL, false);
      gl.generateMipmap(gl.TEXTURE_2D);
    }
    this.patches.set(name, made);
  }

  dropPatch(name) {
    const old = this.patches.get(name);
    if (!old) return;
    old.buffers.forEach((buffer) => this.gl.deleteBuffer(buffer));
    this.gl.deleteVertexArray(old.array);
    if (old.picture) this.gl.deleteTexture(old.picture);
    this.patches.delete(name);
  }

  // Segments as a flat list ax ay az bx by bz ...; width in pixels; `lift` as for a patch.
  setStrokes(name, segments, colour, width, lift = 0) {
    const gl = this.gl;
    const old = this.strokes.get(name);
    if (old) { gl.deleteBuffer(old.buffer); gl.deleteVertexArray(old.array); this.strokes.delete(name); }
    if (!segments || !segments.length) return;
    const array = gl.createVertexArray();
    gl.bindVertexArray(array);
    const buffer = gl.createBuffer();
    gl.bindBuffer(gl.ARRAY_BUFFER, buffer);
    gl.bufferData(gl.ARRAY_BUFFER, segments, gl.STATIC_DRAW);
    ["a", "b"].forEach((end, i) => {
      const at = gl.getAttribLocation(this.programs.line, end);
      gl.enableVertexAttribArray(at);
      gl.vertexAttribPointer(at, 3, gl.FLOAT, false, 24, 12 * i);
      gl.vertexAttribDivisor(at, 1);
    });
    this.strokes.set(name, { array, buffer, count: segments.length / 6, colour, width, lift });
  }

  resize() {
    const dots = Math.min(Math.max(window.devicePixelRatio || 1, this.finest), 2);
    const { clientWidth, clientHeight } = this.canvas;
    this.canvas.width = Math.max(1, Math.round(clientWidth * dots));
    this.canvas.height = Math.max(1, Math.round(clientHeight * dots));
    this.dots = dots;
    this.makeFrames();
    return [clientWidth, clientHeight];
  }

  // One frame for the face and the light at each pixel, one for its colour; both with the same depths.
  makeFrames() {
    const gl = this.gl, { width, height } = this.canvas;
    if (this.frames) {
      gl.deleteRenderbuffer(this.frames.depth);
      for (const kind of ["look", "colour"]) { gl.deleteTexture(this.frames[kind].image); gl.deleteFramebuffer(this.frames[kind].frame); }
    }
    const depth = gl.createRenderbuffer();
    gl.bindRenderbuffer(gl.RENDERBUFFER, depth);
    gl.renderbufferStorage(gl.RENDERBUFFER, gl.DEPTH_COMPONENT24, width, height);
    const framed = (kind) => {
      const image = texture(gl, gl.NEAREST), frame = gl.createFramebuffer();
      gl.texStorage2D(gl.TEXTURE_2D, 1, kind, width, height);
      gl.bindFramebuffer(gl.FRAMEBUFFER, frame);
      gl.framebufferTexture2D(gl.FRAMEBUFFER, gl.COLOR_ATTACHMENT0, gl.TEXTURE_2D, image, 0);
      gl.framebufferRenderbuffer(gl.FRAMEBUFFER, gl.DEPTH_ATTACHMENT, gl.RENDERBUFFER, depth);
      return { image, frame };
    };
    this.frames = { depth, look: framed(gl.RG32UI), colour: framed(gl.RGBA8) };
    this.looked = null;
  }

  draw(camera) {
    const gl = this.gl, matrix = camera.matrix();
    const turn = matrix.join();
    if (turn !== this.looked) this.look(camera, matrix);
    this.looked = turn;
    gl.bindFramebuffer(gl.FRAMEBUFFER, this.frames.colour.frame);
    gl.depthMask(false); // the body's depths stay for the next picture
    this.colour();
    this.cover(camera, matrix);
    gl.depthMask(true);
    const { width, height } = this.canvas;
    gl.bindFramebuffer(gl.READ_FRAMEBUFFER, this.frames.colour.frame);
    gl.bindFramebuffer(gl.DRAW_FRAMEBUFFER, null);
    gl.blitFramebuffer(0, 0, width, height, 0, 0, width, height, gl.COLOR_BUFFER_BIT, gl.NEAREST);
  }

  // Which face each pixel shows, and in how much light.
  look(camera, matrix) {
    const gl = this.gl;
    gl.bindFramebuffer(gl.FRAMEBUFFER, this.frames.look.frame);
    gl.viewport(0, 0, this.canvas.width, this.canvas.height);
    gl.disable(gl.BLEND);
    gl.enable(gl.DEPTH_TEST);
    gl.clearBufferuiv(gl.COLOR, 0, [0, 0, 0, 0]);
    gl.clear(gl.DEPTH_BUFFER_BIT);
    if (!this.body) return;
    this.use("look", camera, matrix);
    gl.bindVertexArray(this.body.array);
    gl.drawArrays(gl.TRIANGLES, 0, this.body.count);
  }

  // The pixels' colours by the marks of their faces.
  colour() {
    const gl = this.gl;
    gl.disable(gl.BLEND);
    gl.disable(gl.DEPTH_TEST);
    gl.useProgram(this.programs.colour);
    [["look", this.frames.look.image], ["marks", this.marks], ["colours", this.colours]].forEach(([name, image], unit) => {
      gl.activeTexture(gl.TEXTURE0 + unit);
      gl.bindTexture(gl.TEXTURE_2D, image);
      gl.uniform1i(this.at("colour", name), unit);
    });
    gl.activeTexture(gl.TEXTURE0);
    gl.bindVertexArray(null);
    gl.drawArrays(gl.TRIANGLES, 0, 3);
  }

  // Pieces and lines over the body, as far as it does not hide them.
  cover(camera, matrix) {
    const gl = this.gl;
    gl.enable(gl.DEPTH_TEST);
    gl.enable(gl.BLEND);
    gl.blendFunc(gl.ONE, gl.ONE_MINUS_SRC_ALPHA);
    gl.enable(gl.POLYGON_OFFSET_FILL);
    gl.polygonOffset(-2, -64);
    this.use("patch", camera, matrix);
    const ground = (patch) => (patch.picture ? 1 : 0); // prints lie over plain colour
    for (const patch of [...this.patches.values()].sort((a, b) => ground(a) - ground(b))) {
      gl.uniform1i(this.at("patch", "printed"), patch.picture ? 1 : 0);
      gl.uniform4fv(this.at("patch", "colour"), patch.colour);
      gl.uniform4fv(this.at("patch", "frame"), patch.frame);
      gl.uniform1f(this.at("patch", "lift"), patch.lift);
      gl.bindTexture(gl.TEXTURE_2D, patch.picture ?? this.colours); // any float texture where there is no picture
      gl.bindVertexArray(patch.array);
      if (patch.indexed) gl.drawElements(gl.TRIANGLES, patch.count, gl.UNSIGNED_INT, 0);
      else gl.drawArrays(gl.TRIANGLES, 0, patch.count);
    }
    gl.disable(gl.POLYGON_OFFSET_FILL);

    this.use("line", camera, matrix);
    gl.uniform2f(this.at("line", "size"), this.canvas.width, this.canvas.height);
    for (const stroke of this.strokes.values()) {
      gl.uniform4fv(this.at("line", "colour"), stroke.colour);
      gl.uniform1f(this.at("line", "width"), stroke.width * this.dots);
      gl.uniform1f(this.at("line", "lift"), stroke.lift);
      gl.bindVertexArray(stroke.array);
      gl.drawArraysInstanced(gl.TRIANGLE_STRIP, 0, 4, stroke.count);
    }
    gl.bindVertexArray(null);
  }

  // Wait until everything that was asked for is drawn: for measurements.
  finish() {
    this.gl.bindFramebuffer(this.gl.FRAMEBUFFER, this.frames.colour.frame);
    this.gl.readPixels(0, 0, 1, 1, this.gl.RGBA, this.gl.UNSIGNED_BYTE, new Uint8Array(4));
  }

  use(name, camera, matrix) {
    const gl = this.gl;
    gl.useProgram(this.programs[name]);
    gl.uniformMatrix4fv(this.at(name, "matrix"), false, matrix);
    for (const key of ["eye", "up", "right"]) {
      const at = this.at(name, key);
      if (at) gl.uniform3fv(at, camera[key]);
    }
  }

  at(name, uniform) {
    const made = this.programs[name];
    made.uniforms ??= {};
    return made.uniforms[uniform] ??= this.gl.getUniformLocation(made, uniform);
  }
}

function program(gl, vertex, fragment) {
  const made = gl.createProgram();
  [[gl.VERTEX_SHADER, vertex], [gl.FRAGMENT_SHADER, fragment]].forEach(([kind, text]) => {
    const shader = gl.createShader(kind);
    gl.shaderSource(shader, text);
    gl.compileShader(shader);
    gl.attachShader(made, shader);
  });
  gl.linkProgram(made);
  if (!gl.getProgramParameter(made, gl.LINK_STATUS)) {
    const said = gl.getAttachedShaders(made).map((shader) => gl.getShaderInfoLog(shader)).join(" ");
    throw new Error(`The body cannot be drawn: ${gl.getProgramInfoLog(made)} ${said}`);
  }
  return made;
}

function attribute(gl, made, name, data, per) {
  const buffer = gl.createBuffer();
  gl.bindBuffer(gl.ARRAY_BUFFER, buffer);
  gl.bufferData(gl.ARRAY_BUFFER, data, gl.STATIC_DRAW);
  const at = gl.getAttribLocation(made, name);
  gl.enableVertexAttribArray(at);
  gl.vertexAttribPointer(at, per, gl.FLOAT, false, 0, 0);
  return buffer;
}

function texture(gl, smaller, larger = gl.NEAREST) {
  const made = gl.createTexture();
  gl.bindTexture(gl.TEXTURE_2D, made);
  gl.texParameteri(gl.TEXTURE_2D, gl.TEXTURE_MIN_FILTER, smaller);
  gl.texParameteri(gl.TEXTURE_2D, gl.TEXTURE_MAG_FILTER, larger);
  gl.texParameteri(gl.TEXTURE_2D, gl.TEXTURE_WRAP_S, gl.CLAMP_TO_EDGE);
  gl.texParameteri(gl.TEXTURE_2D, gl.TEXTURE_WRAP_T, gl.CLAMP_TO_EDGE);
  return made;
}
