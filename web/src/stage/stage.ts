// The two photographs of one board under a drawn overlay. Both are straightened into the board's frame, so
// one millimetre of the board is one unit of the viewer's world and both sides lie exactly on each other.
import OpenSeadragon from "openseadragon";
import { api, sides, type Board, type Pair, type Photograph, type Pyramid, type Side } from "../api";
import { draw, to_board, to_screen, type Marks, type View } from "./draw";
import type { Scene } from "./scene";

export interface StageEvents {
  choose: (joint: string | null) => void;
  hover: (joint: string | null) => void;
  failed: (message: string) => void;
}

const reach_px = 16; // how near a click must come to a joint

export const less_motion = () => window.matchMedia("(prefers-reduced-motion: reduce)").matches;

export class Stage {
  private readonly viewer: OpenSeadragon.Viewer;
  private readonly canvas: HTMLCanvasElement;
  private readonly ctx: CanvasRenderingContext2D;
  private readonly pictures = new Map<Side, OpenSeadragon.TiledImage>();
  private readonly resizing: ResizeObserver;
  private scene: Scene | null = null;
  private marks: Marks = { lit: null, joint: null, hover: null, probes: null, misfits: null, links: true };
  private board: Board | null = null;
  private shown = ""; // job, board and picture versions now open
  private blend = 0;
  private flipped = false;
  private pointer: Pair | null = null;
  private frame = 0;
  private closed = false;

  constructor(host: HTMLElement, private readonly events: StageEvents) {
    this.viewer = new OpenSeadragon.Viewer({
      element: host,
      drawer: "canvas",
      prefixUrl: "",
      showNavigationControl: false,
      animationTime: less_motion() ? 0 : 0.45,
      springStiffness: 9,
      immediateRender: false,
      maxZoomPixelRatio: 8,
      minZoomImageRatio: 0.5,
      visibilityRatio: 0.25,
      preserveImageSizeOnResize: true,
      preserveViewport: true,
      imageLoaderLimit: 6,
      tileRetryMax: 4, // the server may be started anew meanwhile
      tileRetryDelay: 1500,
      maxImageCacheCount: 500,
      gestureSettingsMouse: { clickToZoom: false, dblClickToZoom: true, scrollToZoom: true },
      gestureSettingsTouch: { clickToZoom: false, dblClickToZoom: true },
      gestureSettingsPen: { clickToZoom: false, dblClickToZoom: true },
    });
    this.canvas = document.createElement("canvas");
    this.canvas.className = "stage-ink";
    this.canvas.setAttribute("aria-hidden", "true");
    host.append(this.canvas);
    this.ctx = this.canvas.getContext("2d")!;

    this.viewer.addHandler("update-viewport", () => this.redraw());
    this.viewer.addHandler("animation", () => this.request());
    this.viewer.addHandler("canvas-click", (event) => {
      if (!event.quick) return;
      const joint = this.joint_near([event.position.x, event.position.y], (event.originalEvent as PointerEvent).pointerType === "touch" ? 2 * reach_px : reach_px);
      this.events.choose(joint);
    });
    this.viewer.addHandler("canvas-key", (event) => {
      // The page has its own keys; only moving about is left to the viewer.
      const key = (event.originalEvent as KeyboardEvent).key;
      if (!["ArrowLeft", "ArrowRight", "ArrowUp", "ArrowDown", "+", "-"].includes(key)) {
        (event as { preventDefaultAction: boolean }).preventDefaultAction = true;
      }
    });
    this.viewer.addHandler("tile-load-failed", () => this.events.failed("A piece of the photograph could not be loaded."));
    host.addEventListener("pointermove", (event) => {
      const box = host.getBoundingClientRect();
      this.pointer = [event.clientX - box.left, event.clientY - box.top];
      if (event.pointerType === "mouse") this.events.hover(this.joint_near(this.pointer, reach_px));
    });
    host.addEventListener("pointerleave", () => {
      this.pointer = null;
      this.events.hover(null);
    });
    this.resizing = new ResizeObserver(() => this.request());
    this.resizing.observe(host);
  }

  close(): void {
    this.closed = true;
    cancelAnimationFrame(this.frame);
    this.resizing.disconnect();
    this.viewer.destroy();
    this.canvas.remove();
  }

  // Opens the board's pictures, unless they are already the ones shown. The pyramids are made on first asking.
  async open(job: string, board: Board): Promise<void> {
    this.board = board;
    const photographs: Photograph[] = [];
    for (const side of sides) {
      const one = board.photographs.find((p) => p.side === side && p.aligned);
      if (one) photographs.push(one);
    }
    const shown = `${job} ${board.index} ${photographs.map((p) => p.photograph + p.version).join(" ")}`;
    if (shown === this.shown) return;
    const keep_view = this.shown.startsWith(`${job} ${board.index} `);
    this.shown = shown;
    this.viewer.world.removeAll();
    this.pictures.clear();
    if (!keep_view) this.show_all(true);
    for (const photograph of photographs) {
      const pyramid = await api.pyramid(job, photograph.photograph, "rectified");
      if (this.closed || this.shown !== shown) return;
      this.add_picture(job, photograph, pyramid, shown);
    }
    this.request();
  }

  private add_picture(job: string, photograph: Photograph, pyramid: Pyramid, shown: string): void {
    const px_per_mm = pyramid.px_per_mm ?? 1;
    const [x, y] = pyramid.origin_mm ?? [0, 0];
    this.viewer.addTiledImage({
      tileSource: {
        width: pyramid.width,
        height: pyramid.height,
        tileSize: pyramid.tile_size,
        tileOverlap: 0,
        minLevel: 0,
        maxLevel: pyramid.levels - 1,
        getTileUrl: (level: number, column: number, row: number) =>
          api.tile_address(job, photograph.photograph, "rectified", photograph.version, level, column, row),
      } as unknown as OpenSeadragon.TileSource,
      x,
      y,
      width: pyramid.width / px_per_mm,
      opacity: 0,
      preload: true,
      success: (event: Event) => {
        if (this.closed || this.shown !== shown) return;
        this.pictures.set(photograph.side, (event as unknown as { item: OpenSeadragon.TiledImage }).item);
        this.apply_blend();
      },
    });
  }

  set_scene(scene: Scene | null): void {
    this.scene = scene;
    this.request();
  }

  set_marks(marks: Marks): void {
    this.marks = marks;
    this.request();
  }

  set_blend(blend: number): void {
    this.blend = blend;
    this.apply_blend();
  }

  // Seen from behind or from the component side. The point under the pointer (or the middle) stays where it is.
  set_flipped(flipped: boolean): void {
    if (flipped === this.flipped) return;
    const view = this.view();
    const at: Pair = this.pointer ?? [view.width / 2, view.height / 2];
    const point = to_board(view, ...at);
    this.flipped = flipped;
    this.viewer.viewport.setFlip(flipped);
    const after = to_screen({ ...view, flipped }, ...point);
    // Moving the view by d moves what is drawn by -d, and by +d where it is mirrored.
    const shift = (after[0] - at[0]) * (flipped ? -1 : 1);
    this.viewer.viewport.panBy(new OpenSeadragon.Point(shift / view.scale, 0), true);
    this.request();
  }

  show_all(at_once = false): void {
    if (!this.board) return;
    const [w, h] = this.board.size_mm;
    const margin = 0.03 * Math.max(w, h);
    const below = 0.085 * h; // the dock lies there
    this.viewer.viewport.fitBounds(new OpenSeadragon.Rect(-margin, -margin, w + 2 * margin, h + 2 * margin + below), at_once || less_motion());
  }

  // Brings some points into view, with room around them, at most as near as `least_mm` across.
  look_at(points: readonly Pair[], least_mm = 26): void {
    if (points.length === 0) return;
    const xs = points.map((p) => p[0]);
    const ys = points.map((p) => p[1]);
    const wide = Math.max(...xs) - Math.min(...xs);
    const high = Math.max(...ys) - Math.min(...ys);
    const margin = Math.max(3.5, 0.22 * Math.max(wide, high), (least_mm - Math.max(wide, high)) / 2);
    this.viewer.viewport.fitBounds(
      new OpenSeadragon.Rect(Math.min(...xs) - margin, Math.min(...ys) - margin, wide + 2 * margin, high + 2 * margin),
      less_motion(),
    );
  }

  zoom_by(factor: number): void {
    this.viewer.viewport.zoomBy(factor);
    this.viewer.viewport.applyConstraints();
  }

  // For tests and for the words that tell where something is: the joint's place in the page.
  place_of(joint: string): Pair | null {
    const placed = this.scene?.by_name.get(joint);
    return placed ? to_screen(this.view(), placed.joint.x, placed.joint.y) : null;
  }

  private apply_blend(): void {
    const top = this.pictures.get("top");
    const bottom = this.pictures.get("bottom");
    // The solder side lies above, so its opacity alone is the blend; the component side hides only when quite covered.
    if (top && bottom) {
      this.viewer.world.setItemIndex(bottom, this.viewer.world.getItemCount() - 1);
      top.setOpacity(this.blend >= 1 ? 0 : 1);
      bottom.setOpacity(this.blend);
    } else {
      top?.setOpacity(1);
      bottom?.setOpacity(1);
    }
    this.request();
  }

  private view(): View {
    const viewport = this.viewer.viewport;
    const size = viewport.getContainerSize();
    const origin = viewport.pixelFromPoint(new OpenSeadragon.Point(0, 0), true);
    const one = viewport.pixelFromPoint(new OpenSeadragon.Point(1, 0), true);
    return {
      scale: one.x - origin.x,
      origin: [origin.x, origin.y],
      width: size.x,
      height: size.y,
      flipped: this.flipped,
      blend: this.blend,
      ratio: window.devicePixelRatio || 1,
    };
  }

  private joint_near(at: Pair, reach: number): string | null {
    if (!this.scene) return null;
    const view = this.view();
    const [x, y] = to_board(view, ...at);
    let best: string | null = null;
    let nearest = Infinity;
    for (const { joint, radius } of this.scene.joints) {
      const d = Math.hypot(joint.x - x, joint.y - y);
      if (d < nearest && d <= Math.max(radius, reach / view.scale)) {
        nearest = d;
        best = joint.name;
      }
    }
    return best;
  }

  private request(): void {
    if (this.frame || this.closed) return;
    this.frame = requestAnimationFrame(() => {
      this.frame = 0;
      this.redraw();
    });
  }

  private redraw(): void {
    if (this.closed) return;
    const view = this.view();
    const w = Math.round(view.width * view.ratio);
    const h = Math.round(view.height * view.ratio);
    if (this.canvas.width !== w || this.canvas.height !== h) {
      this.canvas.width = w;
      this.canvas.height = h;
    }
    draw(this.ctx, view, this.scene, this.marks);
  }
}
