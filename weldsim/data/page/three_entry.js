// What the viewer needs of three.js; three.README.md says how three.min.js is made from this.
export {
  BufferAttribute, BufferGeometry, DataTexture, LinearFilter, LineSegments, Mesh,
  OrthographicCamera, Scene, ShaderMaterial, Spherical, Vector3, WebGLRenderer, DoubleSide, Color,
  REVISION,
} from "three";
export { OrbitControls } from "three/examples/jsm/controls/OrbitControls.js";
