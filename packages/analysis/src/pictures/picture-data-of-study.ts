/** Everything pictures of a flight are drawn from, out of its study. Pure; thinned to what a pixel can show. */
import { AXES, type AxisName } from '@settle/parser';
import type { AxisStudy } from '../axis-study.js';
import { describeModel } from '../identification/describe-axis.js';
import type { FlightStudy } from '../study-flight.js';
import { coherencePicture } from './coherence-picture.js';
import { gainPicture } from './gain-picture.js';
import { loopPicture, stepPicture } from './loop-pictures.js';
import { closeUpPicture, flightPicture } from './motion-pictures.js';
import { motorPicture } from './motor-picture.js';
import type { AxisPictures, PictureData } from './picture-data.js';
import { spectrogramPicture, spectrumPicture } from './spectrum-pictures.js';
import { vibrationPicture } from './vibration-pictures.js';

export function pictureData(study: FlightStudy): PictureData {
  return {
    flight: flightPicture(study),
    axes: Object.fromEntries(
      AXES.map((axis) => [
        axis,
        axisPictures(
          study,
          study.axes.find((one) => one.axis === axis)!,
        ),
      ]),
    ) as Record<AxisName, AxisPictures>,
    motors: motorPicture(study),
    vibration: vibrationPicture(study),
  };
}

function axisPictures(study: FlightStudy, one: AxisStudy): AxisPictures {
  const id = one.identification;
  const model = describeModel(id, one.oscillations);
  const unidentified = { unavailable: 'the loop is not identified: the log has no body rates over a hover' };
  return {
    closeUp: closeUpPicture(study, one),
    spectrum: spectrumPicture(study, one),
    spectrogram: spectrogramPicture(study, one),
    rateLoop: id === null ? unidentified : loopPicture(id, model, 'rate'),
    attitudeLoop: id === null ? unidentified : loopPicture(id, model, 'attitude'),
    coherence: coherencePicture(study, one),
    step: id === null ? unidentified : stepPicture(id, model),
    gains: gainPicture(study.decisions.find(({ axis }) => axis === one.axis)),
  };
}
