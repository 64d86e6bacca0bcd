// The shapes that the program speaks, by the names its API gives them.
import type { components } from "./api-types";

type Shapes = components["schemas"];
export type Me = Shapes["Me"];
export type User = Shapes["User"];
export type Users = Shapes["Users"];
export type ScreenLink = Shapes["ScreenLink"];
export type Check = Shapes["DeskCheck"];
export type Finding = Shapes["Finding"];
export type Part = Shapes["Part"];
export type Desk = Shapes["Desk"];
export type Suggestion = Shapes["Suggestion"];
export type Lesson = Shapes["Lesson"];
export type LessonRow = Shapes["LessonRow"];
export type Lifts = Shapes["Lifts"];
export type LiftRow = Shapes["LiftRow"];
export type Lift = Shapes["Lift"];
export type LiftText = Shapes["LiftText"];
export type LiftChanges = Shapes["LiftChanges"];
export type Records = Shapes["Records"];
export type RecordRow = Shapes["Record"];
export type Replayed = Shapes["Replayed"];
export type Fleet = Shapes["Fleet"];
export type FleetSite = Shapes["FleetSite"];
export type GearPage = Shapes["GearPage"];
export type GearRow = Shapes["GearRow"];
export type GearShown = Shapes["GearShown"];
export type Watch = Shapes["Watch"];
export type WatchCell = Shapes["WatchCell"];
export type WatchAlarm = Shapes["WatchAlarm"];
export type WatchHello = Shapes["WatchHello"];
export type WatchTug = Shapes["WatchTug"];
export type WatchUnit = Shapes["WatchUnit"];
// The schema tells of lists; these have as many numbers as space has directions.
type Level = [number, number];
type Point = [number, number, number];
export type Above = Omit<Shapes["Above"], "legs" | "box_m" | "cg_m" | "cg_low_m" | "cg_high_m" | "hook_m"> & {
  legs: (Omit<Shapes["AboveLeg"], "at_m"> & { at_m: Level })[];
  box_m: [Level, Level] | null;
  cg_m: Point;
  cg_low_m: Point;
  cg_high_m: Point;
  hook_m: Level;
};
export type Card = Shapes["Card"];
export type Trend = Shapes["Trend"];
export type Health = Shapes["Health"];
