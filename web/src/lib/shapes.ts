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
