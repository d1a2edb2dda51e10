// Read four reports, send a file and change a team, as a program in TypeScript does; print it all.
//
// The compiler holds every call, and every value that is used, against the API document.

import createClient from "openapi-fetch";
import type { components, paths } from "./api.js";

declare const process: { env: Record<string, string> };

type Problem = components["schemas"]["Problem"];

const client = createClient<paths>({
  baseUrl: process.env.GUSTBOOK_URL,
  headers: { Authorization: `Bearer ${process.env.GUSTBOOK_KEY}` },
});

async function read<Data>(call: Promise<{ data?: Data; error?: Problem }>): Promise<Data> {
  const { data, error } = await call;
  if (data === undefined) throw new Error(`${error?.title}: ${error?.detail}`);
  return data;
}

async function reports() {
  const [season] = (await read(client.GET("/v1/seasons"))).items;
  const [school] = (await read(client.GET("/v1/organisations"))).items;
  const [team] = (await read(client.GET("/v1/teams"))).items;
  const [event] = (await read(client.GET("/v1/events"))).items;
  const ids = { season_id: season.id, organisation_id: school.id, team_id: team.id, event_id: event.id };
  const params = { path: ids };
  return {
    season: await read(client.GET("/v1/seasons/{season_id}/report", { params })),
    organisation: await read(client.GET("/v1/organisations/{organisation_id}/report", { params })),
    team: await read(client.GET("/v1/teams/{team_id}/report", { params })),
    event: await read(client.GET("/v1/events/{event_id}/sheet", { params })),
  };
}

async function tried(rows: string) {
  const form = new FormData();
  form.append("file", new Blob([rows]), "rows.csv");
  const params = { query: { dry_run: true } };
  const sent = { params, body: { file: rows }, bodySerializer: () => form };
  return (await read(client.POST("/v1/imports", sent))).trials;
}

async function changed(size: number) {
  const [{ id }] = (await read(client.GET("/v1/teams"))).items;
  const params = { path: { team_id: id } };
  const etag = (await client.GET("/v1/teams/{team_id}", { params })).response.headers.get("ETag") ?? "";
  const change = { params: { ...params, header: { "If-Match": etag } }, body: { size } };
  const team = await read(client.PATCH("/v1/teams/{team_id}", change));
  const { error } = await client.PATCH("/v1/teams/{team_id}", change);
  return { size: team.size, again: error?.type };
}

async function benchAt(distance_cm: number) {
  const [{ organisation_id, fan_id, anemometer_id }] = (await read(client.GET("/v1/benches"))).items;
  const facts = { organisation_id, fan_id, anemometer_id, name: "Gym", fan_setting: "1", distance_cm };
  return (await read(client.POST("/v1/benches", { body: facts }))).distance_m;
}

const answer = {
  reports: await reports(),
  tried: await tried(process.env.ROWS),
  changed: await changed(5),
  distance_m: await benchAt(90),
};
console.log(JSON.stringify(answer));
