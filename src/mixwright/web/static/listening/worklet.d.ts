// SPDX-License-Identifier: Apache-2.0
// What an AudioWorklet finds around it (Web Audio API 1.1, section 1.32), which the library of the checker leaves out.

declare class AudioWorkletProcessor {
  readonly port: MessagePort;
}
declare function registerProcessor(name: string, processor: new (options: any) => AudioWorkletProcessor): void;
declare const sampleRate: number;
declare const currentFrame: number;
